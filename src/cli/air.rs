//! `airmuster air`: the arithmetic of a cylinder's air, for planning and teaching.

use airmuster_domain::air;
use airmuster_domain::quantity::{Amount, Flow, Pressure, PressureUnit, QuantityError, Temperature, Volume};
use serde::Serialize;

use super::{Failure, print_json};

/// All pressures are gauge pressures. The gauge and the limits decide, not these figures.
#[derive(Debug, clap::Subcommand)]
pub(super) enum Air {
    /// What a closed cylinder reads at another temperature (JSON)
    Reads(Reads),
    /// How long a cylinder lasts at a steady rate, to the low-air alarm and to empty (JSON)
    Lasts(Lasts),
    /// What to fill a cylinder to, so that it stands at its rating at 21 °C (JSON)
    Fill(Fill),
}

#[derive(Debug, clap::Args)]
pub(super) struct Reads {
    /// Pressure it was filled to, like "4500 psi" or "300 bar"
    #[arg(long, value_name = "PRESSURE")]
    rated: String,
    /// Temperature at which it was filled, like "21 C" or "70 F"
    #[arg(long, value_name = "TEMPERATURE", default_value = "21 C", allow_hyphen_values = true)]
    filled_at: String,
    /// Temperature now
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    now: String,
}

#[derive(Debug, clap::Args)]
pub(super) struct Lasts {
    /// Water volume of the cylinder, like "6.8 L"
    #[arg(long, value_name = "VOLUME")]
    volume: String,
    /// Pressure it reads now
    #[arg(long, value_name = "PRESSURE")]
    pressure: String,
    /// Free air used in a minute, like "40 L/min"
    #[arg(long, value_name = "RATE")]
    rate: String,
    /// Pressure at which the low-air alarm starts
    #[arg(long, value_name = "PRESSURE")]
    alarm: String,
    /// Temperature of the cylinder
    #[arg(long, value_name = "TEMPERATURE", default_value = "21 C", allow_hyphen_values = true)]
    at: String,
}

#[derive(Debug, clap::Args)]
pub(super) struct Fill {
    /// Rated pressure of the cylinder
    #[arg(long, value_name = "PRESSURE")]
    rated: String,
    /// Temperature of the gas in it
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    at: String,
}

#[derive(Serialize)]
struct ReadsOut {
    filled_to: Pressure,
    filled_at: Temperature,
    now: Temperature,
    reads_psi: f64,
    reads_bar: f64,
}

#[derive(Serialize)]
struct LastsOut {
    volume: Volume,
    pressure: Pressure,
    rate: Flow,
    alarm: Pressure,
    at: Temperature,
    free_air_litres: f64,
    minutes_to_alarm: f64,
    minutes_to_empty: f64,
}

#[derive(Serialize)]
struct FillOut {
    rated: Pressure,
    at: Temperature,
    fill_to_psi: f64,
    fill_to_bar: f64,
}

impl Air {
    pub(super) fn run(self) -> Result<(), Failure> {
        match self {
            Self::Reads(c) => c.run(),
            Self::Lasts(c) => c.run(),
            Self::Fill(c) => c.run(),
        }
    }
}

impl Reads {
    fn run(self) -> Result<(), Failure> {
        let filled_to: Pressure = given("--rated", &self.rated)?;
        let filled_at = given("--filled-at", &self.filled_at)?;
        let now = given("--now", &self.now)?;
        let reads = air::reads(filled_to.amount(), filled_at, now).map_err(beyond)?;
        let (reads_psi, reads_bar) = both(reads);
        print_json(&ReadsOut { filled_to, filled_at, now, reads_psi, reads_bar })
    }
}

impl Lasts {
    fn run(self) -> Result<(), Failure> {
        let volume = given("--volume", &self.volume)?;
        let pressure: Pressure = given("--pressure", &self.pressure)?;
        let rate = given("--rate", &self.rate)?;
        let alarm: Pressure = given("--alarm", &self.alarm)?;
        let at = given("--at", &self.at)?;
        let lasts = air::lasts(volume, pressure.amount(), rate, alarm.amount(), at).map_err(beyond)?;
        print_json(&LastsOut {
            volume,
            pressure,
            rate,
            alarm,
            at,
            free_air_litres: tenths(lasts.free_air),
            minutes_to_alarm: tenths(lasts.to_alarm),
            minutes_to_empty: tenths(lasts.to_empty),
        })
    }
}

impl Fill {
    fn run(self) -> Result<(), Failure> {
        let rated: Pressure = given("--rated", &self.rated)?;
        let at = given("--at", &self.at)?;
        let (fill_to_psi, fill_to_bar) = both(air::fill_to(rated.amount(), at).map_err(beyond)?);
        print_json(&FillOut { rated, at, fill_to_psi, fill_to_bar })
    }
}

/// Reads an option, and names it where it cannot be read.
fn given<T: std::str::FromStr<Err = QuantityError>>(option: &str, text: &str) -> Result<T, Failure> {
    text.parse().map_err(|e| Failure::input(format!("{option}: {e}")))
}

fn beyond(e: air::AirError) -> Failure {
    Failure::input(format!("--rated, --pressure or --alarm: {e}"))
}

/// In psi and in bar, to a tenth.
fn both(amount: Amount) -> (f64, f64) {
    let number = |unit| i32::try_from(amount.thousandths_of(unit)).map_or(f64::MAX, f64::from) / 1000.0;
    (tenths(number(PressureUnit::Psi)), tenths(number(PressureUnit::Bar)))
}

/// To a tenth: more would promise what a gauge cannot show.
fn tenths(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}
