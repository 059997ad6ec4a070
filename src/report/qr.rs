//! QR codes (ISO/IEC 18004) as SVG, for what is printed and scanned again.

use qrcode::render::svg;
use qrcode::{EcLevel, QrCode};

/// The code of a text, with the quiet zone that scanners need. None where it is too long for a code.
/// Level M: a tag that is scuffed or wet in places can still be read.
pub fn svg(text: &str) -> Option<String> {
    let code = QrCode::with_error_correction_level(text, EcLevel::M).ok()?;
    let drawn = code
        .render::<svg::Color<'_>>()
        .quiet_zone(true)
        .dark_color(svg::Color("#000"))
        .light_color(svg::Color("#fff"))
        .build();
    // It stands inside a page, so it is no document of its own, and its text stands beside it.
    let at = drawn.find("<svg")?;
    Some(drawn[at..].replacen("<svg", "<svg class=\"qr\" aria-hidden=\"true\" focusable=\"false\"", 1))
}

#[cfg(test)]
mod tests {
    use super::svg;

    #[test]
    fn a_code_stands_inside_a_page_without_style_or_script() {
        let code = svg("https://airmuster.example:8443/units/117").unwrap_or_default();
        assert!(code.starts_with("<svg class=\"qr\"") && code.ends_with("</svg>"), "{code}");
        assert!(!code.contains("<?xml") && !code.contains("style=") && !code.contains("<script"), "{code}");
    }

    #[test]
    fn what_is_too_long_has_no_code() {
        assert_eq!(svg(&"x".repeat(5000)), None);
    }
}
