//! Who asks, and whether they may.

use std::{future::Future, marker::PhantomData, time::Instant};

use actix_web::{FromRequest, HttpMessage, HttpRequest, dev::Payload, http::header, web::Data};
use app::{Actor, App, projects::ProjectEntry};
use domain::{
    access::Permission,
    ids::{ProjectId, UserId},
};
use futures_util::future::{FutureExt, LocalBoxFuture, Shared, WeakShared};

use crate::{Problem, limiter::Quotas, rate};

/// A permission as a type, so that it can stand in a signature.
pub trait PermissionMarker: 'static {
    /// The permission.
    const PERMISSION: Permission;
    /// Another one that does as well.
    const OR: Option<Permission> = None;
}

/// One of two permissions, whichever: `Permit<Either<can::RecordFacts, can::MoveStock>>`.
#[derive(Debug)]
pub struct Either<A, B>(PhantomData<(A, B)>);

impl<A: PermissionMarker, B: PermissionMarker> PermissionMarker for Either<A, B> {
    const PERMISSION: Permission = A::PERMISSION;
    const OR: Option<Permission> = Some(B::PERMISSION);
}

macro_rules! markers {
    ($($name:ident),* $(,)?) => {
        /// Every permission as a type: `Permit<can::RecordFacts>`.
        pub mod can {
            $(
                #[doc = concat!("[`Permission::", stringify!($name), "`](super::Permission).")]
                #[derive(Debug)]
                pub struct $name;

                impl super::PermissionMarker for $name {
                    const PERMISSION: super::Permission = super::Permission::$name;
                }
            )*

            /// All of them.
            #[cfg(test)]
            pub const ALL: &[super::Permission] = &[$(super::Permission::$name),*];
        }
    };
}

markers! {
    ReadProject,
    RecordFacts,
    SupersedeFacts,
    ReleaseForBackfill,
    SignConcessions,
    RaiseNonconformances,
    ManageNonconformances,
    ImportRegisters,
    RunJobs,
    ManageLine,
    ManageMaterials,
    MoveStock,
    HoldLots,
    ManageQuality,
    ManageMembers,
    AcknowledgeWarnings,
    ManageWebhooks,
    ExportProject,
    ReadAudit,
}

/// Proof that somebody is signed in, is a member of the project in the path, and may do `P` there.
#[derive(Debug)]
pub struct Permit<P> {
    /// Who.
    pub actor: Actor,
    /// Where, and as what.
    pub project: ProjectEntry,
    marker: PhantomData<P>,
}

impl<P: PermissionMarker> FromRequest for Permit<P> {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let asked = request.clone();
        let entered = admission(request, async move {
            let app = app_of(&asked)?;
            let project = asked.match_info().get("project").unwrap_or_default();
            let (actor, entered) = app::projects::admit(&app, bearer(&asked)?, project).await?;
            note(&asked, &actor)?;
            let project = entered?;
            let other = P::OR.is_some_and(|or| project.require(or).is_ok());
            if !other {
                project.require(P::PERMISSION)?;
            }
            tracing::Span::current().record("project.id", tracing::field::display(project.id));
            Ok(Admitted { actor, project: Some(project) })
        });
        async move {
            let Admitted { actor, project } = entered.await?;
            let project = project.ok_or_else(|| Problem::internal("admitted without a project"))?;
            Ok(Self { actor, project, marker: PhantomData })
        }
        .boxed_local()
    }
}

/// Proof that somebody is signed in.
#[derive(Debug)]
pub struct SignedIn {
    /// Who.
    pub actor: Actor,
}

impl FromRequest for SignedIn {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let asked = request.clone();
        let admitted = admission(request, async move {
            let app = app_of(&asked)?;
            let actor = authenticate(&asked, &app).await?;
            Ok(Admitted { actor, project: None })
        });
        async move { admitted.await.map(|it| Self { actor: it.actor }) }.boxed_local()
    }
}

/// Does `work` once whoever asks is admitted; the extractors of a signature run side by side, and
/// without this a stranger would hear about the body before being told to sign in.
pub(super) fn once_admitted<T: 'static>(
    request: &HttpRequest,
    work: impl Future<Output = Result<T, Problem>> + 'static,
) -> LocalBoxFuture<'static, Result<T, Problem>> {
    let admission = request.extensions().get::<Pending>().and_then(|it| it.0.upgrade());
    async move {
        if let Some(admission) = admission {
            admission.await?;
        }
        work.await
    }
    .boxed_local()
}

/// Who was admitted to this request, and to which project, if its handler asked that.
pub fn admitted(request: &HttpRequest) -> Option<(UserId, Option<ProjectId>)> {
    let extensions = request.extensions();
    let admitted = extensions.get::<Admitted>()?;
    Some((admitted.actor.user, admitted.project.as_ref().map(|it| it.id)))
}

type Admission = Shared<LocalBoxFuture<'static, Result<Admitted, Problem>>>;

/// The admission under way, as long as an extractor waits for it.
///
/// It holds the request and a connection to the database. Kept by the request itself it would
/// live for ever where nobody asks to its end: another extractor refused, or the caller hung up.
struct Pending(WeakShared<LocalBoxFuture<'static, Result<Admitted, Problem>>>);

#[derive(Debug, Clone)]
struct Admitted {
    actor: Actor,
    project: Option<ProjectEntry>,
}

fn admission(
    request: &HttpRequest,
    work: impl Future<Output = Result<Admitted, Problem>> + 'static,
) -> Admission {
    let asked = request.clone();
    let work = async move {
        let admitted = work.await?;
        asked.extensions_mut().insert(admitted.clone());
        Ok(admitted)
    };
    let admission = work.boxed_local().shared();
    if let Some(pending) = admission.downgrade() {
        request.extensions_mut().insert(Pending(pending));
    }
    admission
}

fn app_of(request: &HttpRequest) -> Result<Data<App>, Problem> {
    let app = request.app_data::<Data<App>>().cloned();
    app.ok_or_else(|| Problem::internal("the application is not in the app data"))
}

async fn authenticate(request: &HttpRequest, app: &App) -> Result<Actor, Problem> {
    let actor = app::accounts::authenticate(app, bearer(request)?).await?;
    note(request, &actor)?;
    Ok(actor)
}

/// Who asks, for the log, and that they have asked, for their rate.
fn note(request: &HttpRequest, actor: &Actor) -> Result<(), Problem> {
    tracing::Span::current().record("user.id", tracing::field::display(actor.user));
    if let Some(quotas) = request.app_data::<Data<Quotas>>() {
        rate::note_user(request, actor.user, quotas.request(actor.user, Instant::now()))?;
    }
    Ok(())
}

fn bearer(request: &HttpRequest) -> Result<&str, Problem> {
    let sent = request.headers().get(header::AUTHORIZATION);
    let sent = sent.and_then(|value| value.to_str().ok()).and_then(|text| text.split_once(' '));
    match sent {
        Some((scheme, token)) if scheme.eq_ignore_ascii_case("bearer") => Ok(token.trim()),
        _ => {
            let detail = "send `Authorization: Bearer` with the access token of a session";
            Err(Problem::unauthenticated("SIGN_IN_REQUIRED", detail))
        }
    }
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;

    use super::*;

    #[test]
    fn every_permission_has_its_type() {
        assert_eq!(can::ALL, Permission::ALL);
    }

    #[test]
    fn the_token_follows_the_scheme() {
        let with = |value: &str| {
            TestRequest::default().insert_header(("authorization", value)).to_http_request()
        };
        assert_eq!(bearer(&with("Bearer abc")).unwrap(), "abc");
        assert_eq!(bearer(&with("bearer abc")).unwrap(), "abc");
        assert_eq!(bearer(&with("Basic abc")).unwrap_err().code(), "SIGN_IN_REQUIRED");
        assert!(bearer(&TestRequest::default().to_http_request()).is_err());
    }

    #[actix_web::test]
    async fn a_stranger_hears_nothing_of_the_rest() {
        let request = TestRequest::default().to_http_request();
        let first = admission(&request, async { Err(Problem::unauthenticated("WHO", "")) });
        let rest = once_admitted::<()>(&request, async { Err(Problem::bad_request("BAD", "")) });
        assert_eq!(rest.await.unwrap_err().code(), "WHO");
        assert_eq!(first.await.unwrap_err().code(), "WHO");
    }

    #[actix_web::test]
    async fn an_admission_that_nobody_waits_for_lets_go_of_what_it_holds() {
        let request = TestRequest::default().to_http_request();
        let (held, asked) = (std::rc::Rc::new(()), request.clone());
        let holds = held.clone();
        let mut abandoned = admission(&request, async move {
            let _both = (holds, asked);
            std::future::pending().await
        });
        assert!((&mut abandoned).now_or_never().is_none(), "it waits for the database");
        drop(abandoned);
        assert_eq!(std::rc::Rc::strong_count(&held), 1);
    }
}
