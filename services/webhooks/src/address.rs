//! Which addresses are strangers.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// Whether `address` is one of the public network: not this machine, not the network around it, and
/// nothing that stands for such an address.
///
/// The ranges are those that the IANA registries of special-purpose addresses (RFC 6890 and its
/// registries) do not call globally reachable; written from memory, unverified, but for the ones that
/// the standard library names.
pub fn is_public(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(address) => is_public_v4(address),
        IpAddr::V6(address) => is_public_v6(address),
    }
}

fn is_public_v4(address: Ipv4Addr) -> bool {
    let [a, b, c, _] = address.octets();
    let special = address.is_loopback()
        || address.is_private()
        // 169.254.0.0/16, with the metadata of clouds at 169.254.169.254.
        || address.is_link_local()
        || address.is_multicast()
        || address.is_broadcast()
        || address.is_documentation()
        // 0.0.0.0/8: this host on this network.
        || a == 0
        // 100.64.0.0/10: behind a carrier's address translation; some clouds' metadata, too.
        || a == 100 && (64..128).contains(&b)
        // 192.0.0.0/24: protocol assignments.
        || (a, b, c) == (192, 0, 0)
        // 192.88.99.0/24: relays of 6to4, deprecated.
        || (a, b, c) == (192, 88, 99)
        // 198.18.0.0/15: benchmarks.
        || a == 198 && (18..20).contains(&b)
        // 240.0.0.0/4: reserved.
        || a >= 240;
    !special
}

fn is_public_v6(address: Ipv6Addr) -> bool {
    // Written as IPv6, it is still the IPv4 address inside.
    if let Some(inside) = inside(address) {
        return is_public_v4(inside);
    }
    let [first, second, ..] = address.segments();
    // 2000::/3 is all of the global unicast space in use; what is not in it (loopback, unspecified,
    // unique local, link-local, site-local, multicast) is nobody's business.
    let global = first & 0xe000 == 0x2000;
    let special = first == 0x2001
        // 2001::/23: protocol assignments, Teredo among them. 2001:db8::/32: documentation.
        && (second < 0x0200 || second == 0x0db8)
        // 3fff::/20: documentation.
        || first == 0x3fff && second < 0x1000;
    global && !special
}

/// The IPv4 address that an IPv6 address stands for.
fn inside(address: Ipv6Addr) -> Option<Ipv4Addr> {
    let segments = address.segments();
    let last = |high: u16, low: u16| {
        let ([a, b], [c, d]) = (high.to_be_bytes(), low.to_be_bytes());
        Ipv4Addr::new(a, b, c, d)
    };
    match segments {
        // ::/96, compatible and deprecated, but for :: and ::1.
        [0, 0, 0, 0, 0, 0, high, low] if high != 0 => Some(last(high, low)),
        // ::ffff:0:0/96, mapped; ::ffff:0:0:0/96, translated; 64:ff9b::/96, NAT64 (64:ff9b:1::/48 is
        // local: not in 2000::/3, so refused as it is); 2002::/16, 6to4.
        [0, 0, 0, 0, 0, 0xffff, high, low]
        | [0, 0, 0, 0, 0xffff, 0, high, low]
        | [0x64, 0xff9b, 0, 0, 0, 0, high, low]
        | [0x2002, high, low, ..] => Some(last(high, low)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_is_not_public_is_refused() {
        for address in [
            "127.0.0.1",
            "127.255.255.254",
            "10.0.0.1",
            "172.16.0.1",
            "172.31.255.255",
            "192.168.1.1",
            "169.254.169.254",
            "169.254.0.1",
            "100.64.0.1",
            "100.100.100.200",
            "100.127.255.255",
            "0.0.0.0",
            "0.1.2.3",
            "192.0.0.192",
            "192.0.2.1",
            "198.18.0.1",
            "198.19.255.255",
            "198.51.100.7",
            "203.0.113.9",
            "224.0.0.1",
            "239.255.255.250",
            "240.0.0.1",
            "255.255.255.255",
            "::",
            "::1",
            "::127.0.0.1",
            "::ffff:127.0.0.1",
            "::ffff:10.1.2.3",
            "::ffff:169.254.169.254",
            "::ffff:0:127.0.0.1",
            "64:ff9b::10.0.0.1",
            "64:ff9b:1::1",
            "2002:7f00:1::",
            "2002:a00:1::1",
            "fe80::1",
            "fec0::1",
            "fc00::1",
            "fd00:ec2::254",
            "fdff::1",
            "ff02::1",
            "2001::1",
            "2001:db8::1",
            "3fff::1",
            "100::1",
            "4000::1",
        ] {
            assert!(!is_public(address.parse().unwrap()), "{address}");
        }
    }

    #[test]
    fn what_is_public_is_let_through() {
        for address in [
            "1.1.1.1",
            "9.255.255.255",
            "11.0.0.1",
            "100.63.255.255",
            "100.128.0.1",
            "172.15.255.255",
            "172.32.0.1",
            "192.167.255.255",
            "198.17.255.255",
            "198.20.0.1",
            "223.255.255.255",
            "2606:4700:4700::1111",
            "2a00:1450:4001::1",
            "2001:4860:4860::8888",
            "::ffff:1.1.1.1",
            "64:ff9b::1.1.1.1",
        ] {
            assert!(is_public(address.parse().unwrap()), "{address}");
        }
    }

    proptest! {
        #[test]
        fn an_address_inside_another_is_judged_as_itself(bits: u32) {
            let inner = Ipv4Addr::from(bits);
            let verdict = is_public(IpAddr::V4(inner));
            let [a, b, c, d] = inner.octets();
            let (high, low) = (u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d]));
            for outer in [
                inner.to_ipv6_mapped(),
                Ipv6Addr::new(0x64, 0xff9b, 0, 0, 0, 0, high, low),
                Ipv6Addr::new(0x2002, high, low, 0, 0, 0, 0, 1),
            ] {
                prop_assert_eq!(is_public(IpAddr::V6(outer)), verdict, "{}", outer);
            }
        }
    }
}
