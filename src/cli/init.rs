//! `airmuster init`: a department and its first administrator.

use std::io::{BufRead as _, IsTerminal as _, Write as _};

use super::{DataFolder, Failure};
use crate::clock::Clock;
use crate::service::Intake;
use crate::service::first::{First, FirstError, begin};
use crate::service::pin::{Cost, Pins};

#[derive(Debug, clap::Args)]
pub(super) struct Init {
    #[command(flatten)]
    data: DataFolder,
    /// The department's name
    #[arg(long, value_name = "NAME")]
    department: Option<String>,
    /// Its time zone, like America/Chicago
    #[arg(long, value_name = "ZONE")]
    zone: Option<String>,
    /// The first administrator's member number
    #[arg(long, value_name = "ID")]
    member: Option<String>,
    /// The first administrator's name
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
}

/// Where a PIN may stand that nobody types.
const PIN: &str = "AIRMUSTER_PIN";

impl Init {
    /// Asks a person for what was not given; the PIN comes from the environment or from standard input.
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let first = First {
            department: given(self.department, "--department", "The department's name")?,
            zone: given(self.zone, "--zone", "Its time zone, like America/Chicago")?,
            member: given(self.member, "--member", "Your member number")?,
            name: given(self.name, "--name", "Your name")?,
            pin: match std::env::var(PIN) {
                Ok(pin) => pin,
                Err(_) => line("Your PIN, six digits or more (it is shown while you type)")?,
            },
        };
        let store = self.data.open(clock).await?;
        let (intake, writer) = Intake::start(store.clone(), clock.clone());
        let pins = Pins::new(store.clone(), clock.clone(), Cost::Full);
        let made = begin(&store, &intake, &pins, clock, &first).await;
        drop(intake);
        writer.await?;
        store.close().await;
        made.map_err(|e| match e {
            FirstError::Wrong(_, say) => Failure::input(say),
            e @ FirstError::Begun => Failure::input(e.to_string()),
            e => e.into(),
        })?;
        let data = self.data.data.display();
        println!(
            "{} can sign in as {}, with the administrator's role.\nNext:\n  airmuster serve --data {data}\n\
             then open http://127.0.0.1:8460/sign-in on this machine, enter the register, and enrol the tablets.\n\
             For tablets in the house serve over HTTPS: see README, “On a department's own data”.",
            first.name.trim(),
            first.member.trim()
        );
        Ok(())
    }
}

fn given(flag: Option<String>, name: &str, question: &str) -> Result<String, Failure> {
    match flag {
        Some(text) => Ok(text),
        None if std::io::stdin().is_terminal() => line(question),
        None => Err(Failure::input(format!("give {name}"))),
    }
}

/// A line of what a person types, or of what a script hands over.
fn line(question: &str) -> Result<String, Failure> {
    if std::io::stdin().is_terminal() {
        let mut output = std::io::stderr().lock();
        write!(output, "{question}: ")?;
        output.flush()?;
    }
    let mut text = String::new();
    std::io::stdin().lock().read_line(&mut text)?;
    Ok(text.trim().to_owned())
}
