//! The air in a cylinder: what a gauge shows in a cold or hot bay, how much air that is, and how
//! long it lasts.
//!
//! Air is a real gas: at the pressures of a cylinder the ideal-gas law says 3,870 psi where a full
//! 4,500-psi cylinder in fact reads 3,510 (filled at 21 °C, read at −20 °C). Density comes from the
//! GERG-2008 equation of state (Kunz and Wagner, J. Chem. Eng. Data 57 (2012) 3032–3091; AGA
//! Report No. 8, Part 2), as the `aga8` crate computes it, for dry air as 0.7812 nitrogen, 0.2096
//! oxygen and 0.0092 argon by moles: the composition of Lemmon et al., J. Phys. Chem. Ref. Data 29
//! (2000) 331–385.
//!
//! All pressures that come in and go out are gauge pressures, over an atmosphere of 101.325 kPa.
//!
//! Left out: the stretch of the cylinder, moisture, the gauge's own error, and that the gas may
//! not yet be as warm as the bay. So nothing here excuses a reading: it stands beside the limit
//! and never moves it.

use aga8::composition::Composition;
use aga8::gerg2008::Gerg2008;

use crate::quantity::{Amount, Flow, PressureUnit, Temperature, TemperatureUnit, Volume};

/// The standard atmosphere in kPa, exact (NIST SP 811, App. B).
const ATMOSPHERE: f64 = 101.325;
/// The highest pressure computed, in pascals: 700 bar, the end of the range over which GERG-2008 is
/// stated to hold (60…700 K; Kunz and Wagner 2012, extended range).
const HIGHEST: i64 = 70_000_000;

/// The temperature for which a rated pressure is meant here, 21 °C.
///
/// In the United States it is 70 °F (49 CFR 173.301a and 173.302a, from memory); in Europe
/// settled at 15 °C (ADR 1.2.1, from memory), for which a cylinder filled as said here is about
/// 2 % less than full: on the safe side.
pub fn reference() -> Temperature {
    // Within what a temperature may be, so never the other branch.
    Temperature::whole(21, TemperatureUnit::C).unwrap_or_else(|| unreachable!())
}

/// Why the air cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum AirError {
    /// A pressure beyond the model.
    #[error("that is more than 700 bar, which is beyond what is computed here")]
    TooHigh,
    /// No density found. Does not happen within the limits of this module; see its tests.
    #[error("no density was found for that pressure and temperature")]
    NoDensity,
}

/// Molar density in mol/l at a pressure in kPa, absolute, and a temperature in K.
fn molar(gas: &mut Gerg2008, kilopascals: f64, kelvin: f64) -> Result<f64, AirError> {
    gas.p = kilopascals;
    gas.t = kelvin;
    gas.d = 0.0;
    gas.density(0).map_err(|_| AirError::NoDensity)?;
    Ok(gas.d)
}

/// The gas of which all cylinders are full.
fn dry_air() -> Result<Gerg2008, AirError> {
    let mut gas = Gerg2008::new();
    let parts = Composition { nitrogen: 0.7812, oxygen: 0.2096, argon: 0.0092, ..Composition::default() };
    gas.set_composition(&parts).map_err(|_| AirError::NoDensity)?;
    Ok(gas)
}

/// An absolute pressure in kPa from a gauge pressure.
fn absolute(gauge: Amount) -> Result<f64, AirError> {
    let pascals = gauge.thousandths_of(PressureUnit::Kpa);
    if pascals > HIGHEST {
        return Err(AirError::TooHigh);
    }
    let pascals = i32::try_from(pascals).map_err(|_| AirError::TooHigh)?;
    Ok(f64::from(pascals) / 1000.0 + ATMOSPHERE)
}

/// A gauge pressure, to the pascal, from an absolute pressure in kPa.
#[expect(clippy::cast_possible_truncation, reason = "bounded to what an i64 holds")]
fn gauge(kilopascals: f64) -> Amount {
    let pascals = ((kilopascals - ATMOSPHERE) * 1000.0).round();
    Amount::of_thousandths(pascals.clamp(0.0, 1e15) as i64, PressureUnit::Kpa)
}

/// The density of dry air in kg/m³ at a gauge pressure.
///
/// # Errors
/// Above 700 bar.
pub fn density(pressure: Amount, at: Temperature) -> Result<f64, AirError> {
    let mut gas = dry_air()?;
    let molar = molar(&mut gas, absolute(pressure)?, at.kelvin())?;
    gas.molar_mass();
    Ok(molar * gas.mm)
}

/// What a gauge shows at `now` on a closed, tight cylinder that showed `filled` at `filled_at`.
///
/// # Errors
/// When `filled`, or the reading that it comes to, is above 700 bar.
///
/// ```
/// use airmuster_domain::air::reads;
/// use airmuster_domain::quantity::{Pressure, PressureUnit};
///
/// let full: Pressure = "4500 psi".parse()?;
/// let cold = reads(full.amount(), "21 C".parse()?, "-20 C".parse()?)?;
/// assert_eq!(cold.words(PressureUnit::Psi), "3,512 psi");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn reads(filled: Amount, filled_at: Temperature, now: Temperature) -> Result<Amount, AirError> {
    let mut gas = dry_air()?;
    gas.d = molar(&mut gas, absolute(filled)?, filled_at.kelvin())?;
    gas.t = now.kelvin();
    let reading = gauge(gas.pressure());
    // What comes out must lie within the model too, not only what goes in.
    if reading.thousandths_of(PressureUnit::Kpa) > HIGHEST { Err(AirError::TooHigh) } else { Ok(reading) }
}

/// What a reading taken at `at` would be at 21 °C.
///
/// # Errors
/// When the reading is above 700 bar.
pub fn corrected(reading: Amount, at: Temperature) -> Result<Amount, AirError> {
    reads(reading, at, reference())
}

/// The pressure to fill to when the gas in the cylinder is at `at`, so that at 21 °C it stands at
/// its rated pressure. Filled while warm, a cylinder reads more than its rating for a while;
/// filled in the cold to its rating, it would be over it when it warms: a fill whose temperature was
/// read is held against the rating by what it comes to when warm (`desk`).
///
/// # Errors
/// When the rated pressure is above 700 bar.
pub fn fill_to(rated: Amount, at: Temperature) -> Result<Amount, AirError> {
    reads(rated, reference(), at)
}

/// How much free air comes out of a cylinder of this water volume between two pressures, in
/// litres at one atmosphere and the same temperature. Zero when it is at `down_to` or below.
///
/// # Errors
/// When a pressure is above 700 bar.
pub fn free_air(volume: Volume, from: Amount, down_to: Amount, at: Temperature) -> Result<f64, AirError> {
    let mut gas = dry_air()?;
    let full = molar(&mut gas, absolute(from)?, at.kelvin())?;
    let left = molar(&mut gas, absolute(down_to)?, at.kelvin())?;
    let outside = molar(&mut gas, ATMOSPHERE, at.kelvin())?;
    Ok(volume.litres() * (full - left).max(0.0) / outside)
}

/// How long a cylinder lasts at a steady rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lasts {
    /// Free air down to an empty cylinder, in litres.
    pub free_air: f64,
    /// Minutes until the low-air alarm starts; zero when it is at or below that pressure.
    pub to_alarm: f64,
    /// Minutes until nothing more comes out.
    pub to_empty: f64,
}

/// How long a cylinder lasts at a steady rate, with gas and cylinder at `at` throughout. Nobody
/// breathes at a steady rate: hard work takes more than twice the 40 L/min at which service times
/// are rated. For planning and teaching; the gauge decides.
///
/// # Errors
/// When a pressure is above 700 bar.
pub fn lasts(
    volume: Volume,
    pressure: Amount,
    rate: Flow,
    alarm: Amount,
    at: Temperature,
) -> Result<Lasts, AirError> {
    let free = free_air(volume, pressure, Amount::ZERO, at)?;
    let above = free_air(volume, pressure, alarm, at)?;
    let rate = rate.litres_a_minute();
    Ok(Lasts { free_air: free, to_alarm: above / rate, to_empty: free / rate })
}
