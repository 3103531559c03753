//! From where somebody asks.

use std::{
    future::{Ready, ready},
    net::IpAddr,
};

use actix_web::{FromRequest, HttpMessage, HttpRequest, dev::Payload, http::header, web::Data};
use app::{Actor, accounts::Origin};
use store::read_audit::Asked;
use tracing_actix_web::RequestId;

use crate::Problem;

/// The proxies in front of this server. Only what they say of a client's address is believed.
#[derive(Debug, Clone, Default)]
pub struct Proxies(pub Vec<IpAddr>);

/// The address and the device that a request comes from.
#[derive(Debug)]
pub struct Client(pub Origin);

impl FromRequest for Client {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let device = request.headers().get(header::USER_AGENT);
        let device = device.and_then(|it| it.to_str().ok());
        let device = device.map(|it| it.chars().take(200).collect());
        ready(Ok(Self(Origin { address: address(request), device })))
    }
}

/// Who takes a copy out of a project and from where, for the audit of readings.
pub fn asked(request: &HttpRequest, actor: &Actor) -> Asked {
    let request_id = request.extensions().get::<RequestId>().map(ToString::to_string);
    Asked { user: Some(actor.user), address: address(request), request_id }
}

/// The address of the client: of the peer, or the one that our own proxies saw.
pub fn address(request: &HttpRequest) -> Option<IpAddr> {
    let peer = request.peer_addr()?.ip();
    let none = Proxies::default();
    let known = request.app_data::<Data<Proxies>>();
    let proxies = known.map_or(&none.0, |it| &it.0);
    if !proxies.contains(&peer) {
        return Some(peer);
    }
    // Each proxy adds the address it saw at the end; what stands before the first address that is
    // none of ours was written by the client and can be anything.
    let named = request.headers().get_all("x-forwarded-for");
    let named: Vec<&str> =
        named.filter_map(|it| it.to_str().ok()).flat_map(|it| it.split(',')).collect();
    let seen = named.iter().rev().map(|it| it.trim().parse::<IpAddr>());
    for address in seen {
        match address {
            Ok(address) if proxies.contains(&address) => {}
            Ok(address) => return Some(address),
            Err(_) => break,
        }
    }
    Some(peer)
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;

    use super::*;

    fn check(peer: &str, forwarded: &[&str], expected: &str) {
        let proxies = Proxies(vec!["10.0.0.1".parse().unwrap(), "10.0.0.2".parse().unwrap()]);
        let mut request = TestRequest::default()
            .app_data(Data::new(proxies))
            .peer_addr(format!("{peer}:4711").parse().unwrap());
        for line in forwarded {
            request = request.append_header(("x-forwarded-for", *line));
        }
        let found = address(&request.to_http_request()).unwrap();
        assert_eq!(found, expected.parse::<IpAddr>().unwrap(), "{peer} {forwarded:?}");
    }

    #[test]
    fn only_our_proxies_are_believed() {
        check("192.0.2.7", &[], "192.0.2.7");
        check("192.0.2.7", &["198.51.100.1"], "192.0.2.7");
        check("10.0.0.1", &["198.51.100.1"], "198.51.100.1");
        check("10.0.0.1", &["1.1.1.1, 198.51.100.1, 10.0.0.2"], "198.51.100.1");
        check("10.0.0.1", &["1.1.1.1", "198.51.100.1"], "198.51.100.1");
        check("10.0.0.1", &["1.1.1.1, nonsense"], "10.0.0.1");
        check("10.0.0.1", &[], "10.0.0.1");
    }
}
