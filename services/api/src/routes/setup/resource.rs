//! The operations that every set-up resource has: list, read, create or replace.

use app::{Actor, App, projects::ProjectEntry, setup::Stored};
use domain::{schema::FieldError, setup::Item};

use crate::{
    Problem,
    extract::{IfMatch, Paging},
    reply::{Page, Versioned, segment},
};

/// The items of one kind, by code.
pub async fn list<T: Item>(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    paging: &Paging,
) -> Result<Page<Versioned<T>>, Problem> {
    let (after, limit): (Option<String>, u32) = (paging.position()?, paging.limit());
    let one_more = i64::from(limit) + 1;
    let items = app::setup::list::<T>(app, actor, project, after.as_deref(), one_more).await?;
    Ok(Page::cut(items, limit, |last| last.item.code().to_owned()).map(view))
}

/// One item.
pub async fn get<T: Item>(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    code: &str,
) -> Result<Versioned<T>, Problem> {
    let stored = app::setup::get::<T>(app, actor, project, code).await?;
    Ok(view(stored))
}

/// A new item; one that exists is left alone.
pub async fn create<T: Item>(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    path: &str,
    item: T,
) -> Result<Versioned<T>, Problem> {
    let location = format!("{path}/{}", segment(item.code()));
    let stored = app::setup::put(app, actor, project, item, None).await?;
    Ok(view(stored).created_at(location))
}

/// A new item, or another version of the one that the caller has seen.
pub async fn put<T: Item>(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    path: &str,
    code: &str,
    item: T,
    seen: IfMatch,
) -> Result<Versioned<T>, Problem> {
    if item.code() != code {
        let detail = format!("must be `{code}`, as in the path");
        return Err(Problem::invalid(vec![FieldError::new("/code", "CODE_DIFFERS", detail)]));
    }
    let stored = app::setup::put(app, actor, project, item, seen.0)
        .await
        .map_err(|error| seen.explain(error))?;
    let created = stored.created;
    let view = view(stored);
    Ok(if created { view.created_at(path) } else { view })
}

fn view<T>(stored: Stored<T>) -> Versioned<T> {
    Versioned::new(stored.item, stored.version)
}

/// The handlers of one set-up resource.
///
/// Attributes take no computed text, so paths and summaries are spelt out where it is used.
macro_rules! resource {
    (
        $item:ident, $tag:tt, $write:ident, $collection:tt, $each:tt,
        $list:ident $list_summary:tt,
        $get:ident $get_summary:tt,
        $put:ident $put_summary:tt
        $(, $create:ident $create_summary:tt)? $(,)?
    ) => {
        use actix_web::{
            HttpRequest, get, put,
            web::{Data, Json, Path},
        };
        use app::App;
        use domain::setup::$item;
        use utoipa_actix_web::service_config::ServiceConfig;

        use crate::{
            Problem,
            extract::{Body, IfMatch, ItemPath, Paging, Permit, ProjectPath, Query, can},
            reply::{Page, Versioned},
            routes::setup::resource,
        };

        pub(super) fn configure(config: &mut ServiceConfig) {
            config.service($list).service($get).service($put);
            $(config.service($create);)?
        }

        #[doc = $list_summary]
        #[utoipa::path(
            tag = $tag,
            params(ProjectPath, Paging),
            responses((status = 200, body = Page<Versioned<$item>>)),
            security(("bearer" = [])),
        )]
        #[get($collection)]
        pub async fn $list(
            app: Data<App>,
            permit: Permit<can::ReadProject>,
            paging: Query<Paging>,
        ) -> Result<Json<Page<Versioned<$item>>>, Problem> {
            let Permit { actor, project, .. } = &permit;
            resource::list(&app, actor, project, &paging.0).await.map(Json)
        }

        #[doc = $get_summary]
        #[utoipa::path(
            tag = $tag,
            params(ItemPath),
            responses((status = 200, body = Versioned<$item>)),
            security(("bearer" = [])),
        )]
        #[get($each)]
        pub async fn $get(
            app: Data<App>,
            permit: Permit<can::ReadProject>,
            path: Path<ItemPath>,
        ) -> Result<Versioned<$item>, Problem> {
            let Permit { actor, project, .. } = &permit;
            resource::get(&app, actor, project, &path.code).await
        }

        #[doc = $put_summary]
        ///
        /// To replace, send `If-Match` with the ETag of the version you have seen.
        #[utoipa::path(
            tag = $tag,
            params(
                ItemPath,
                ("If-Match" = Option<String>, Header, description = "ETag, such as `\"v17\"`"),
            ),
            request_body = $item,
            responses(
                (status = 200, body = Versioned<$item>),
                (status = 201, body = Versioned<$item>),
            ),
            security(("bearer" = [])),
        )]
        #[put($each)]
        pub async fn $put(
            app: Data<App>,
            permit: Permit<can::$write>,
            request: HttpRequest,
            path: Path<ItemPath>,
            seen: IfMatch,
            body: Body<$item>,
        ) -> Result<Versioned<$item>, Problem> {
            let Permit { actor, project, .. } = &permit;
            let at = request.path();
            resource::put(&app, actor, project, at, &path.code, body.0, seen).await
        }

        $(
            use actix_web::post;

            #[doc = $create_summary]
            #[utoipa::path(
                tag = $tag,
                params(ProjectPath),
                request_body = $item,
                responses((status = 201, body = Versioned<$item>)),
                security(("bearer" = [])),
            )]
            #[post($collection)]
            pub async fn $create(
                app: Data<App>,
                permit: Permit<can::$write>,
                request: HttpRequest,
                body: Body<$item>,
            ) -> Result<Versioned<$item>, Problem> {
                let Permit { actor, project, .. } = &permit;
                resource::create(&app, actor, project, request.path(), body.0).await
            }
        )?
    };
}

pub(crate) use resource;
