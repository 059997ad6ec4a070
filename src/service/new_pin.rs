//! Which PINs may be set: not those that whoever guesses tries first.

use super::pin::{LONGEST, SHORTEST};

/// What the demo's members all have, and so nobody else may.
const DEMO: &str = "246810";

/// Why this PIN may not be set, in words that say what to do.
///
/// Refused are too few digits, the same step from each digit to the next (111111, 123456, 975319
/// round the end), one to three digits over and over (121212, 123123), and a number read back
/// (123321). Common practice, no published source.
///
/// # Errors
/// With what is wrong.
pub fn may_be_set(pin: &str) -> Result<(), &'static str> {
    if !(SHORTEST..=LONGEST).contains(&pin.len()) || !pin.bytes().all(|b| b.is_ascii_digit()) {
        return Err("Give a PIN of six digits or more.");
    }
    let digits: Vec<u8> = pin.bytes().map(|b| b - b'0').collect();
    let step = |pair: &[u8]| (pair[1] + 10 - pair[0]) % 10;
    let even_steps = digits.windows(2).all(|pair| step(pair) == step(&digits[..2]));
    let over_and_over = (1..=3).any(|n| digits.chunks(n).all(|c| c == &digits[..c.len()]));
    let read_back = digits.iter().eq(digits.iter().rev());
    if even_steps || over_and_over || read_back || pin == DEMO {
        return Err("This PIN is among the first that anybody would try. Give another one.");
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::may_be_set;

    #[test]
    fn what_is_tried_first_may_not_be_set() {
        for pin in [
            "",
            "1234",
            "12345a",
            "５５５５５５",
            "000000",
            "123456",
            "987654",
            "135791",
            "121212",
            "123123",
            "123321",
            "246810",
            "1111111",
        ] {
            assert!(may_be_set(pin).is_err(), "{pin}");
        }
        for pin in ["603917", "112358", "20260711"] {
            assert_eq!(may_be_set(pin), Ok(()), "{pin}");
        }
    }
}
