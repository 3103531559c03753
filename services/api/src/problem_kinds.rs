//! Every kind of problem that is answered, in one list: for `/problems/{kind}`, for the printed
//! table, and for the test that finds a code which is not here.

use serde::Serialize;
use utoipa::ToSchema;

/// A kind of problem.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct ProblemKind {
    /// Stable code, as problems carry it.
    #[schema(example = "RELEASE_REFUSED")]
    pub code: &'static str,
    /// The HTTP status that it comes with.
    #[schema(example = 409)]
    pub status: u16,
    /// When it is answered.
    pub when: &'static str,
    /// What helps.
    pub what_to_do: &'static str,
}

impl ProblemKind {
    /// The last segment of its `type`.
    pub fn segment(&self) -> String {
        segment(self.code)
    }
}

/// A code as it stands in a `type`.
pub fn segment(code: &str) -> String {
    code.to_lowercase().replace('_', "-")
}

/// The kind that a `type` ends with.
pub fn find(segment: &str) -> Option<&'static ProblemKind> {
    KINDS.iter().find(|kind| kind.segment() == segment)
}

/// The whole list as a table in Markdown.
pub fn table() -> String {
    let mut text = String::from(
        "# Problems\n\nEvery answer that is not a success is `application/problem+json` (RFC \
         9457). Its `type` is `/problems/` and the code in small letters, and can be read on the \
         server. Programs go by `code`; `detail` is for people and may be worded anew. Where \
         `errors[]` is there, each fault has a JSON pointer and a code of its own.\n\n| code | \
         status | when | what to do |\n| --- | ---: | --- | --- |\n",
    );
    for ProblemKind { code, status, when, what_to_do } in KINDS {
        text.extend(["| `", code, "` | ", &status.to_string()]);
        text.extend([" | ", when, " | ", what_to_do, " |\n"]);
    }
    text
}

const fn kind(
    code: &'static str,
    status: u16,
    when: &'static str,
    what_to_do: &'static str,
) -> ProblemKind {
    ProblemKind { code, status, when, what_to_do }
}

/// All of them, by status and code.
pub const KINDS: &[ProblemKind] = &[
    kind("BAD_REQUEST", 400, "The request cannot be read at all.", "Mend the request."),
    kind(
        "IDEMPOTENCY_KEY_MALFORMED",
        400,
        "`Idempotency-Key` is empty, too long, sent twice or not plain text.",
        "Send one value of 1 to 200 visible ASCII characters, such as a UUID.",
    ),
    kind(
        "IF_MATCH_MALFORMED",
        400,
        "`If-Match` is not an ETag of a version.",
        "Send the ETag as it came, such as `\"v17\"`.",
    ),
    kind(
        "INVALID_CURSOR",
        400,
        "`cursor` was not given out by this list.",
        "Send `next` of an earlier page of the same list, or begin without a cursor.",
    ),
    kind(
        "INVALID_PARAMETER",
        400,
        "A parameter in the query is unknown, missing, repeated or cannot be read.",
        "Mend the parameter that `errors[]` names.",
    ),
    kind(
        "TOO_DEEP",
        400,
        "The JSON has too many objects or arrays inside each other.",
        "Send what the description shows; nothing of it is that deep.",
    ),
    kind(
        "UNREADABLE",
        400,
        "The body is not JSON, or broke off.",
        "Send well-formed JSON; send again what broke off.",
    ),
    kind(
        "WRONG_CHARACTER",
        400,
        "The character U+0000 stands in the path or the query.",
        "Leave it out: nothing has such a name.",
    ),
    kind(
        "NONCE_INVALID",
        401,
        "The nonce of a signature is not one of the signer's, or has expired.",
        "Ask for a new challenge, look at what it shows, and sign that.",
    ),
    kind(
        "REFRESH_TOKEN_REFUSED",
        401,
        "The refresh token is not in force: used before, ended, or never given out.",
        "Sign in again.",
    ),
    kind(
        "RESET_CODE_REFUSED",
        401,
        "The code for a new password is wrong, used or has expired.",
        "Ask an administrator for a new one.",
    ),
    kind(
        "SESSION_ENDED",
        401,
        "The session was ended, or its user may not sign in any more.",
        "Sign in again.",
    ),
    kind(
        "SETUP_CODE_REFUSED",
        401,
        "The code for the first administrator is wrong, used or has expired.",
        "Print a new one on the server: `jointward setup-code`.",
    ),
    kind(
        "SIGN_IN_REQUIRED",
        401,
        "The request says nothing of who asks.",
        "Send `Authorization: Bearer` with the access token of a session.",
    ),
    kind(
        "TOKEN_EXPIRED",
        401,
        "The access token has expired.",
        "Exchange the refresh token for a new pair, and send the request again.",
    ),
    kind(
        "TOKEN_REFUSED",
        401,
        "The access token is none of this server's.",
        "Sign in at this server.",
    ),
    kind(
        "WRONG_CREDENTIALS",
        401,
        "The address or the password is wrong; which of them is not said.",
        "Try again, or ask an administrator for a code to set a new password.",
    ),
    kind(
        "WRONG_PASSWORD",
        401,
        "The password that proves who signs or changes a password is wrong.",
        "Try again; nothing was signed or changed.",
    ),
    kind(
        "FORBIDDEN",
        403,
        "The role in this project does not allow it.",
        "Ask somebody whose role does; `detail` names the permission.",
    ),
    kind(
        "NOT_FOUND",
        404,
        "There is no such thing, or none that the caller may know of.",
        "Look at the path; of projects one is no member of, nothing is shown.",
    ),
    kind(
        "METHOD_NOT_ALLOWED",
        405,
        "The path exists and does not answer this method.",
        "Use one that the `Allow` header names.",
    ),
    kind(
        "BODY_TOO_SLOW",
        408,
        "Nothing of the body came for ten seconds, or the whole took longer than thirty.",
        "Send again without a pause; nothing was stored.",
    ),
    kind(
        "ADMINISTRATOR_EXISTS",
        409,
        "The server has an administrator already.",
        "Ask that person to add you.",
    ),
    kind(
        "ALREADY_QUARANTINED",
        409,
        "The lot is in quarantine already, from then on or earlier.",
        "Say an earlier `from` to recall more of it, or lift the quarantine that holds.",
    ),
    kind(
        "APPLICATOR_CANNOT_SIGN",
        409,
        "Who put the coating on a joint would sign a concession of it.",
        "Let somebody sign who did not work on this joint.",
    ),
    kind(
        "CONCESSION_NEEDS_JOINT",
        409,
        "A concession is asked for a nonconformance of a lot, a crew or a stretch.",
        "Raise one of the joint itself, or close it with a disposition.",
    ),
    kind(
        "CONCESSION_NOT_PROPOSED",
        409,
        "There is no proposal that could be approved.",
        "Propose the concession; another person approves it.",
    ),
    kind(
        "DELIVERY_CANCELLED",
        409,
        "The delivery that the receipt names was cancelled.",
        "Change the delivery back to expected if it came anyway, then receive it.",
    ),
    kind(
        "EMAIL_TAKEN",
        409,
        "Another user signs in with this address.",
        "Take another address, or make that user a member.",
    ),
    kind(
        "EXPORT_NOT_DONE",
        409,
        "The copy is not made yet, or could not be made.",
        "Read the export until it is done; where it failed, it says why.",
    ),
    kind(
        "EXPORT_UNDER_WAY",
        409,
        "A copy of the project is being made already.",
        "Wait for it and fetch that one.",
    ),
    kind(
        "IDEMPOTENCY_KEY_IN_USE",
        409,
        "The first request with this key is not answered yet.",
        "Send the same again after `Retry-After`.",
    ),
    kind(
        "ID_REUSED",
        409,
        "Another fact, reading or outlook has this id.",
        "Keep an id for a repeated send alone; new content needs a new id.",
    ),
    kind(
        "ISSUE_REFUSED",
        409,
        "The material must not be handed out.",
        "Read every entry of `blocking_conditions[]`: another lot, an extension, or less of it.",
    ),
    kind(
        "ITEM_EXISTS",
        409,
        "A set-up item has this code already.",
        "Replace it with PUT and `If-Match`, or take another code.",
    ),
    kind(
        "LAST_ADMINISTRATOR",
        409,
        "The project would be left without an administrator.",
        "Make somebody else its administrator first.",
    ),
    kind(
        "LOT_DIFFERS",
        409,
        "A lot of this code is set up with another material or other dates.",
        "Look at the label again; the lot as it is set up can be read.",
    ),
    kind(
        "LOT_QUARANTINED",
        409,
        "The lot is in quarantine.",
        "Lift the quarantine first: what is held is not extended.",
    ),
    kind(
        "MEMBER_EXISTS",
        409,
        "The user is a member already.",
        "Change the role with PUT and `If-Match`.",
    ),
    kind(
        "NONCE_USED",
        409,
        "The challenge was signed already.",
        "Look whether the release is there; for another, ask for a new challenge.",
    ),
    kind(
        "NONCONFORMANCE_NOT_OPEN",
        409,
        "The nonconformance is closed already.",
        "Read it: it says who closed it and how.",
    ),
    kind(
        "NOTHING_TO_WAIVE",
        409,
        "A concession names a gate that is open.",
        "Name only gates that are shut.",
    ),
    kind(
        "NOTHING_WAITS",
        409,
        "No line of the count waits for approval.",
        "Read the count: its lines say what became of each.",
    ),
    kind(
        "NOT_ENOUGH",
        409,
        "A place holds less than is to leave it.",
        "Take what is `left`, take from another place, or count what is there.",
    ),
    kind(
        "NOT_PROVEN",
        409,
        "The disposition says that something is put right, and the facts do not show it.",
        "Record the repair or the test first.",
    ),
    kind(
        "NOT_QUARANTINED",
        409,
        "The lot is not in quarantine.",
        "Read the lot again: somebody may have lifted it.",
    ),
    kind(
        "NOT_REVERSIBLE",
        409,
        "A movement of this kind is not reversed.",
        "Correct the fact, or count what is there.",
    ),
    kind(
        "NOT_WAIVABLE",
        409,
        "A concession would open a gate that none opens: weld, layers, holiday test, damage, freshness.",
        "Put right what shuts the gate: repair, test again.",
    ),
    kind(
        "NO_SHELF_LIFE",
        409,
        "The lot has no last day.",
        "There is nothing to extend; it may be used as it is.",
    ),
    kind(
        "OUTLOOK_IMPOSSIBLE",
        409,
        "The quantities give no outlook.",
        "Mend the plan, the set-up or the `what_if` that `detail` names.",
    ),
    kind("OWN_ACCOUNT", 409, "One cannot shut oneself out.", "Ask another administrator."),
    kind("PROJECT_CODE_TAKEN", 409, "Another project has this code.", "Take another code."),
    kind(
        "QA_MANAGER_NEEDED",
        409,
        "Neither of the two who sign a concession is a QA manager.",
        "Let a QA manager approve it.",
    ),
    kind(
        "RELEASE_REFUSED",
        409,
        "The joint cannot be released for backfill.",
        "Do what every entry of `blocking_conditions[]` asks for, then ask again. Do not bury it.",
    ),
    kind(
        "REVERSED_ALREADY",
        409,
        "The movement is reversed already.",
        "Read the movements: the one that reverses it says who and why.",
    ),
    kind(
        "SAME_PERSON",
        409,
        "Who proposed a concession would approve it too.",
        "Let another person approve it.",
    ),
    kind(
        "SAME_PERSON",
        409,
        "It takes somebody else than the person who counted.",
        "Ask another person who may approve counts.",
    ),
    kind(
        "TAKEOFF_IMPOSSIBLE",
        409,
        "The set-up gives no sum of materials.",
        "Mend the coating system or the material that `detail` names.",
    ),
    kind(
        "TOO_MANY_JOINTS",
        409,
        "The stretch holds more joints than can be signed at once.",
        "Release it in shorter stretches.",
    ),
    kind(
        "TOO_MANY_UPLOADS",
        409,
        "One user has as many files on their way in as one may.",
        "Wait until one has arrived, or break one off.",
    ),
    kind(
        "TOO_MANY_WEBHOOKS",
        409,
        "The project has as many webhooks as it may have.",
        "Delete one that nobody needs.",
    ),
    kind(
        "WARNING_ACKNOWLEDGED",
        409,
        "Somebody else has the warning in hand.",
        "Read the warning: it says who.",
    ),
    kind("WARNING_CLEARED", 409, "The warning is over.", "There is nothing to do."),
    kind("WEBHOOK_DISABLED", 409, "The webhook is switched off.", "Switch it on first."),
    kind("EXPORT_EXPIRED", 410, "The copy was kept for seven days.", "Ask for a new one."),
    kind(
        "FEED_GONE",
        410,
        "The changes after that number are no longer kept.",
        "Read without `after`, read what you keep a copy of, and follow from `next_after`.",
    ),
    kind(
        "VERSION_IS_STALE",
        412,
        "Somebody changed it since the version in `If-Match`.",
        "Read it again, make the change to that, and send it with its ETag.",
    ),
    kind("TOO_LARGE", 413, "The body is longer than is read here.", "Send it in parts."),
    kind(
        "UNSUPPORTED_MEDIA_TYPE",
        415,
        "The body is of another type than is read here.",
        "Send the `Content-Type` that `detail` names.",
    ),
    kind(
        "AHEAD_OF_CLOCK",
        422,
        "The time of a reading or an outlook has not come yet.",
        "Set the clock of the device right; what is still to come is no reading.",
    ),
    kind(
        "IDEMPOTENCY_KEY_REUSED",
        422,
        "Another request was sent with this key.",
        "Make a new key for a new request.",
    ),
    kind(
        "INVALID",
        422,
        "What was sent can be read and is wrong.",
        "Mend every fault in `errors[]`; all of them are named at once.",
    ),
    kind(
        "REASON_REQUIRED",
        422,
        "Another lot expires sooner than the one that is to be handed out.",
        "Hand out the lot that `detail` names, or say in `reason` why not.",
    ),
    kind(
        "IF_MATCH_REQUIRED",
        428,
        "It exists, and the request does not say which version it replaces.",
        "Read it, and send its ETag in `If-Match`.",
    ),
    kind(
        "TOO_MANY_ATTEMPTS",
        429,
        "Too many wrong passwords in a row.",
        "Wait as long as `Retry-After` says.",
    ),
    kind(
        "TOO_MANY_REQUESTS",
        429,
        "More was asked than the rate in `RateLimit-Policy` allows.",
        "Wait as long as `Retry-After` says; send facts in batches, which count as one.",
    ),
    kind(
        "TOO_MANY_STREAMS",
        429,
        "One user has as many streams open as one may.",
        "Close one; `Retry-After` says when to try again.",
    ),
    kind(
        "INTERNAL",
        500,
        "A bug of ours.",
        "Report it with the `request_id`; whether it was done can be read.",
    ),
    kind(
        "UNAVAILABLE",
        503,
        "The server or its database cannot answer right now.",
        "Send the same again after `Retry-After`; facts and keyed requests have one effect.",
    ),
];

#[cfg(test)]
mod tests {
    use std::{collections::BTreeSet, fs, path::Path};

    use actix_web::http::StatusCode;

    use super::*;
    use crate::Problem;

    /// Texts in capitals that are something else.
    const NO_CODES: &[&str] =
        &["CARGO_PKG_VERSION", "DELETE", "ERROR", "HEAD", "PATCH", "POST", "SHA256SUMS"];

    /// Codes of single faults inside a problem (`errors[].code`, and rows of imports), and of
    /// nonconformances.
    const INSIDE: &[&str] = &[
        "ADDRESS_REFUSED",
        "ALREADY_REGISTERED",
        "CODE_DIFFERS",
        "DUPLICATE",
        "DUPLICATE_COLUMN",
        "EMPTY",
        "EMPTY_FILE",
        "MATERIAL_DIFFERS",
        "MISSING_COLUMN",
        "MORE_FAULTS",
        "NOT_ALLOWED",
        "NOT_A_DATE",
        "NOT_UTF8",
        "ONE_OF",
        "OTHER_PLACE",
        "OUT_OF_ORDER",
        "OUT_OF_RANGE",
        "RAISED_BY_HAND",
        "RELEASE_CONTRADICTED",
        "REPEATED_IN_FILE",
        "REQUIRED",
        "ROW_TOO_LONG",
        "TOO_LONG",
        "TOO_MANY",
        "TOO_MANY_ROWS",
        "UNKNOWN",
        "UNKNOWN_COLUMN",
        "UNKNOWN_REFERENCE",
        "UNKNOWN_VALUE",
        "WEAK_PASSWORD",
        "WRONG_FORMAT",
        "WRONG_LENGTH",
        "WRONG_TYPE",
    ];

    #[test]
    fn every_code_in_the_source_is_in_the_list() {
        let mut found = BTreeSet::new();
        let here = Path::new(env!("CARGO_MANIFEST_DIR"));
        for folder in ["src", "../app/src"] {
            collect(&here.join(folder), &mut found);
        }
        let known: BTreeSet<String> = KINDS.iter().map(|it| it.code.to_owned()).collect();
        let told = |it: &&String| {
            known.contains(*it) || INSIDE.contains(&it.as_str()) || NO_CODES.contains(&it.as_str())
        };
        let missing: Vec<&String> = found.iter().filter(|it| !told(it)).collect();
        assert!(missing.is_empty(), "say in KINDS when these come and what helps: {missing:?}");
        // What a bare status says is made from its name.
        let gone: Vec<&String> =
            known.iter().filter(|it| !found.contains(*it) && *it != "BAD_REQUEST").collect();
        assert!(gone.is_empty(), "nothing answers these any more: {gone:?}");
    }

    fn collect(folder: &Path, found: &mut BTreeSet<String>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                collect(&path, found);
            } else if path.extension().is_some_and(|it| it == "rs") && !path.ends_with(file!()) {
                let text = fs::read_to_string(&path).unwrap();
                if path.file_name().is_some_and(|it| it == "problem_kinds.rs") {
                    continue;
                }
                let own = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
                found.extend(
                    own.split('"').skip(1).step_by(2).filter(|it| is_code(it)).map(String::from),
                );
            }
        }
    }

    fn is_code(text: &str) -> bool {
        let capital = |byte: u8| byte.is_ascii_uppercase() || byte.is_ascii_digit() || byte == b'_';
        text.len() > 3
            && text.bytes().all(capital)
            && text.starts_with(|it: char| it.is_ascii_uppercase())
    }

    #[test]
    fn the_list_is_in_order_and_each_is_found_by_its_type() {
        assert!(KINDS.is_sorted_by_key(|it| (it.status, it.code)));
        for it in KINDS {
            assert_eq!(find(&it.segment()).map(|it| it.code), Some(it.code));
            assert!(it.when.ends_with('.') && it.what_to_do.ends_with('.'), "{}", it.code);
            let status = StatusCode::from_u16(it.status).unwrap();
            let problem = serde_json::to_value(Problem::new(status, it.code, "x")).unwrap();
            assert_eq!(problem["type"], format!("/problems/{}", it.segment()));
        }
        assert!(find("nothing").is_none());
    }
}
