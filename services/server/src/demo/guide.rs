//! What somebody who has started the demo is told.

use std::fmt::Write;

use domain::access::Role;

use super::Loaded;

/// The addresses, the users and what to try, for a server at `server`.
pub fn guide(loaded: &Loaded, server: &str) -> Result<String, std::fmt::Error> {
    let Loaded { project, password, story, users, .. } = loaded;
    let quality = users.iter().find(|it| it.role == Role::QaManager);
    let quality = quality.map_or("", |it| it.email.as_str());
    let untested = &story.untested_joint;
    let base = format!("{server}/v1/projects/{project}");
    let mut text = String::new();
    writeln!(
        text,
        "\nServing on {server} until Ctrl-C. Users, all with the password {password}:\n"
    )?;
    for user in users {
        writeln!(text, "  {:<29} {:<22} {}", user.email, user.role.name(), user.name)?;
    }
    writeln!(text, "\nTo try, in another terminal. Sign in first; it holds for ten minutes:\n")?;
    writeln!(
        text,
        "TOKEN=$(curl -s {server}/v1/sessions -H 'content-type: application/json' \\\n  \
         -d '{{\"email\":\"{quality}\",\"password\":\"{password}\"}}' \\\n  \
         | sed -E 's/.*\"access_token\" *: *\"([^\"]+)\".*/\\1/')\n"
    )?;
    writeln!(text, "Joints that are wrapped and wait for their test:\n")?;
    let token = "-H \"authorization: Bearer $TOKEN\"";
    writeln!(text, "curl -s '{base}/joints?stage=wrapped&limit=5' {token}\n")?;
    writeln!(text, "One joint with its gates; it was damaged after its release:\n")?;
    writeln!(text, "curl -s {base}/joints/{} {token}\n", story.damaged_joint)?;
    writeln!(
        text,
        "What the stock will do: what runs out, what to order by when, what expires unused:\n"
    )?;
    writeln!(text, "curl -s {base}/stock/outlook {token}\n\ncurl -s {base}/warnings {token}\n")?;
    writeln!(text, "Which hours of the coming days the weather leaves, and why not the others:\n")?;
    writeln!(text, "curl -s '{base}/ambient/workable-hours?spread=A&days=2' {token}\n")?;
    writeln!(text, "Every joint that a recalled lot is on, and which of them are buried:\n")?;
    writeln!(text, "curl -s '{base}/stock/lots/TO-5107/trace?limit=5' {token}\n")?;
    writeln!(
        text,
        "The release of {untested}, wrapped and lowered but never tested; 409, with the reason:\n"
    )?;
    writeln!(
        text,
        "curl -si '{base}/backfill-releases?validate_only=true' {token} \\\n  \
         -H 'content-type: application/json' -d '{{\"joints\":[\"{untested}\"]}}'\n"
    )?;
    writeln!(text, "The same signed, as a release is really given: a nonce, then the password:\n")?;
    writeln!(
        text,
        "NONCE=$(curl -s {base}/signing-challenges {token} \\\n  \
         -H 'content-type: application/json' \\\n  \
         -d '{{\"purpose\":\"backfill_release\",\"subject\":{{\"joints\":[\"{untested}\"]}}}}' \\\n  \
         | sed -E 's/.*\"nonce\" *: *\"([^\"]+)\".*/\\1/')\n\
         curl -si {base}/backfill-releases {token} -H 'content-type: application/json' \\\n  \
         -d '{{\"joints\":[\"{untested}\"],\"signature\":{{\"nonce\":\"'$NONCE'\",\
         \"password\":\"{password}\",\"meaning\":\"released for backfill\"}}}}'\n"
    )?;
    writeln!(text, "Everything else: {server}/openapi.json")?;
    Ok(text)
}
