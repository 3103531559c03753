//! The same work by pgbench, without a server in between.

use std::{
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
    process::Command,
};

use crate::{
    Outcome,
    capture::{Parameter, Slot, Statement},
    seed::World,
};

/// A script and the values of its variables.
pub struct Script {
    file: PathBuf,
    variables: Vec<String>,
    role: Option<&'static str>,
}

/// What pgbench reports.
pub struct Reported {
    /// Transactions per second.
    pub per_second: f64,
    /// On average, ms.
    pub average_ms: f64,
}

/// Where pgbench is, beside the PostgreSQL that is used.
pub fn program() -> Outcome<PathBuf> {
    let beside = cluster::installed().into_iter().map(|it| it.bin_dir.join("pgbench"));
    let found = beside.chain([PathBuf::from("/usr/bin/pgbench")]).find(|it| it.exists());
    found.ok_or_else(|| {
        "pgbench is missing: it comes with the PostgreSQL server (Debian: postgresql; \
         Fedora: postgresql-contrib)"
            .into()
    })
}

impl Script {
    /// Locks a joint, inserts a fact of 400 bytes, updates the joint. On joints at the end of the
    /// line that nobody else touches: the server could not read such a fact.
    pub fn bare(dir: &Path, world: &World) -> Outcome<Self> {
        let project = world.project;
        let record = format!("\\x{}", "5a".repeat(400));
        let text = format!(
            r"\set n random({first}, {last})
\set f random(1, 9000000000000000)
BEGIN;
SELECT chain_seq FROM joints WHERE project_id = :project AND joint_number = :n FOR UPDATE \gset
INSERT INTO facts (project_id, id, joint_id, seq, kind, occurred_at, recorded_at, recorded_by,
                   late, record, hash)
VALUES (:project, {fact}, {joint}, :chain_seq::bigint + 1, 'bare', now(), now(), :by, false,
        :record, :hash);
UPDATE joints SET chain_seq = chain_seq + 1, newest_at = now()
 WHERE project_id = :project AND joint_number = :n;
COMMIT;
",
            first = world.joints - world.coated + 1,
            last = world.joints,
            fact = expression(Slot::Fact),
            joint = expression(Slot::Joint),
        );
        let file = dir.join("bare.sql");
        fs::write(&file, text)?;
        let hash = format!("\\x{}", "5a".repeat(32));
        let variables = vec![
            format!("project={project}"),
            format!("by={}", world.by),
            format!("record={record}"),
            format!("hash={hash}"),
        ];
        Ok(Self { file, variables, role: None })
    }

    /// The statements of a request, on the joints `1` to `joints`.
    pub fn same_sql(
        dir: &Path,
        name: &str,
        statements: &[Statement],
        joints: u32,
    ) -> Outcome<Self> {
        let mut text =
            format!("\\set n random(1, {joints})\n\\set f random(1, 9000000000000000)\n");
        let mut variables = Vec::new();
        for (place, Statement { sql, parameters }) in statements.iter().enumerate() {
            if parameters.is_empty() && sql.contains(';') {
                // Sent in one message; that is what a pipeline of pgbench does too.
                text.push_str("\\startpipeline\n");
                for one in sql.split(';') {
                    let _ = writeln!(text, "{};", one.trim());
                }
                text.push_str("\\endpipeline\n");
                continue;
            }
            let mut sql = sql.clone();
            for (number, parameter) in parameters.iter().enumerate().rev() {
                let value = match parameter {
                    Parameter::Null => "NULL".to_owned(),
                    Parameter::One(slot) => expression(*slot),
                    Parameter::Array(slot) => format!("ARRAY[{}]", element(*slot)),
                    Parameter::Constant(value) => {
                        let name = format!("s{place}p{number}");
                        variables.push(format!("{name}={value}"));
                        format!(":{name}")
                    }
                };
                sql = sql.replace(&format!("${}", number + 1), &value);
            }
            // Marks for the reader of the columns; no names of variables.
            let sql = sql.replace("!\"", "\"").replace("?\"", "\"");
            let lock = sql.contains("FOR UPDATE") && sql.contains("chain_seq");
            let _ = writeln!(text, "{sql}{}", if lock { " \\gset" } else { ";" });
        }
        let file = dir.join(format!("{name}.sql"));
        fs::write(&file, text)?;
        Ok(Self { file, variables, role: Some("jointward_app") })
    }

    /// Runs the script.
    pub fn run(&self, url: &str, clients: u32, seconds: u32) -> Outcome<Reported> {
        let mut command = Command::new(program()?);
        command.args(["-n", "-M", "prepared", "-c", &clients.to_string()]);
        command.args(["-j", &clients.min(2).to_string(), "-T", &seconds.to_string()]);
        command.arg("-f").arg(&self.file);
        for variable in &self.variables {
            command.args(["-D", variable]);
        }
        let role = self.role.map(|role| format!("-c role={role}")).unwrap_or_default();
        command.env("PGOPTIONS", format!("-c synchronous_commit=on {role}"));
        let done = command.arg(url).output()?;
        let text = String::from_utf8_lossy(&done.stdout);
        if !done.status.success() || !text.contains("number of failed transactions: 0 ") {
            let errors = String::from_utf8_lossy(&done.stderr);
            let script = fs::read_to_string(&self.file)?;
            return Err(format!("pgbench failed: {text}{errors}\n{script}").into());
        }
        let number = |name: &str| -> Option<f64> {
            let line = text.lines().find_map(|it| it.strip_prefix(name))?;
            line.split_whitespace().next()?.parse().ok()
        };
        Ok(Reported {
            per_second: number("tps = ").ok_or("pgbench reports no tps")?,
            average_ms: number("latency average = ").ok_or("pgbench reports no latency")?,
        })
    }
}

/// A slot as the scripts make it.
fn expression(slot: Slot) -> String {
    match slot {
        Slot::Number => ":n".to_owned(),
        Slot::Joint => "('00000000-0000-7000-8000-' || lpad(:n::text, 12, '0'))::uuid".to_owned(),
        Slot::Fact => "md5(:f::text)::uuid".to_owned(),
        Slot::Seq => "(:chain_seq::bigint + 1)".to_owned(),
        Slot::JustBefore => "(:n::bigint * 12000 - 1)".to_owned(),
    }
}

fn element(slot: Slot) -> String {
    match slot {
        Slot::Number => ":n::text".to_owned(),
        other => expression(other),
    }
}
