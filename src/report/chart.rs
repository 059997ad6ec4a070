//! Charts as SVG. Their colours are names: the style sheet gives each its tone, by day and by night.

use airmuster_domain::Millis;
use airmuster_domain::drift::Trend;
use plotters::prelude::*;

/// The colours, which `static/app.css` turns into ink, hairlines, limits and projection.
const INK: RGBColor = RGBColor(0x10, 0x11, 0x12);
const HAIR: RGBColor = RGBColor(0xC1, 0xC2, 0xC3);
const LIMIT: RGBColor = RGBColor(0xA1, 0x00, 0x0E);
const AHEAD: RGBColor = RGBColor(0x2A, 0x2F, 0xB1);

const SIZE: (u32, u32) = (720, 260);
/// A projection further ahead than this, in days, would squeeze the readings.
const AHEAD_AT_MOST: f64 = 200.0;

/// Readings, limits and, where there is a date to be said, the line drawn on to it. `None` for a
/// trend without readings. The numbers stand in words beside it: to a screen reader it is nothing.
pub fn trend(trend: &Trend, now: Millis, day: impl Fn(Millis) -> String) -> Option<String> {
    let first = trend.points.first()?.0;
    let x = |at: Millis| days(at - first);
    let crossing = trend.crossing.filter(|c| x(c.at) <= x(now) + AHEAD_AT_MOST);
    let end = crossing.map_or(x(now), |c| x(c.at).max(x(now))).max(1.0) * 1.02;
    let limits = [trend.limits.0, trend.limits.1].into_iter().flatten();
    let values = trend.points.iter().map(|p| p.1).chain(limits.clone());
    let (low, high) = values.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    let room = (high - low).max(1.0) * 0.06;

    let mut svg = String::new();
    let drawn = (|| -> Result<(), DrawingAreaErrorKind<std::io::Error>> {
        let area = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
        let mut chart = ChartBuilder::on(&area)
            .margin(10)
            .x_label_area_size(30)
            .y_label_area_size(64)
            .build_cartesian_2d(0.0..end, low - room..high + room)?;
        let moment = |d: &f64| day(first.saturating_add(seconds(*d) * 1000));
        chart
            .configure_mesh()
            .x_labels(6)
            .y_labels(5)
            .x_label_formatter(&moment)
            .y_label_formatter(&|v| figure(*v, 0))
            .label_style(("sans-serif", 18).into_font().color(&INK))
            .axis_style(HAIR)
            .bold_line_style(HAIR)
            .light_line_style(TRANSPARENT)
            .draw()?;
        for limit in limits {
            chart.draw_series(LineSeries::new([(0.0, limit), (end, limit)], LIMIT.stroke_width(3)))?;
        }
        chart.draw_series(trend.points.iter().map(|(at, v)| Circle::new((x(*at), *v), 3, INK.filled())))?;
        if let (Some(crossing), Some(from)) = (crossing, trend.line_at(first)) {
            let line = [(0.0, from), (x(crossing.at), crossing.limit)];
            chart.draw_series(DashedLineSeries::new(line, 10, 6, AHEAD.stroke_width(3)))?;
        }
        area.present()
    })();
    drawn
        .ok()
        .map(|()| svg.replacen("<svg ", "<svg class=\"trend\" aria-hidden=\"true\" focusable=\"false\" ", 1))
}

/// A number as a person reads it: thousands apart, with a true minus sign, and none before nothing.
pub fn figure(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let (whole, rest) = text.split_once('.').unwrap_or((&text, ""));
    let mut out = String::new();
    if value < 0.0 && text.bytes().any(|b| (b'1'..=b'9').contains(&b)) {
        out.push('−');
    }
    for (nth, digit) in whole.chars().enumerate() {
        if nth > 0 && (whole.len() - nth).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    if !rest.is_empty() {
        out.push('.');
        out.push_str(rest);
    }
    out
}

/// Days in a time.
fn days(time: Millis) -> f64 {
    i32::try_from(time / 1000).map_or(f64::MAX, f64::from) / 86_400.0
}

/// Seconds in so many days, fewer than there are in a chart of a few years.
#[expect(clippy::cast_possible_truncation, reason = "a few years in seconds")]
fn seconds(days: f64) -> i64 {
    (days * 86_400.0) as i64
}

/// Bars side by side, each with a part on top that is told apart, and a name under every few of them. Their
/// heights are given in `parts` of what the axis counts: 1 for whole numbers, 10 for tenths.
/// `None` where there is nothing to draw. The numbers stand in words beside it.
pub fn bars(bars: &[(String, u32, u32)], named: usize, parts: u32) -> Option<String> {
    let most = bars.iter().map(|(_, low, top)| low + top).max().filter(|m| *m > 0)?;
    let count = u32::try_from(bars.len()).ok()?;
    let height = |n: u32| f64::from(n) / f64::from(parts);
    // No finer than what is counted: an axis that says 1 twice says nothing.
    let labels = usize::try_from(most).map_or(5, |most| (most + 1).min(5));
    let mut svg = String::new();
    let drawn = (|| -> Result<(), DrawingAreaErrorKind<std::io::Error>> {
        let area = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
        let mut chart = ChartBuilder::on(&area)
            .margin(10)
            .x_label_area_size(30)
            .y_label_area_size(64)
            .build_cartesian_2d(0.0..f64::from(count), 0.0..height(most) * 1.06)?;
        let name = |x: &f64| {
            let at = bars.iter().zip(0_u32..).find(|(_, n)| (f64::from(*n) - x).abs() < 0.01);
            at.map_or(String::new(), |(bar, _)| bar.0.clone())
        };
        chart
            .configure_mesh()
            .disable_x_mesh()
            .x_labels(named)
            .y_labels(labels)
            .x_label_formatter(&name)
            .y_label_formatter(&|v| figure(*v, usize::from((v - v.round()).abs() > 0.01)))
            .label_style(("sans-serif", 18).into_font().color(&INK))
            .axis_style(HAIR)
            .bold_line_style(HAIR)
            .light_line_style(TRANSPARENT)
            .draw()?;
        for ((_, low, top), n) in bars.iter().zip(0_u32..) {
            let (left, right) = (f64::from(n) + 0.1, f64::from(n) + 0.9);
            let (low, high) = (height(*low), height(low + top));
            if low > 0.0 {
                chart.draw_series([Rectangle::new([(left, 0.0), (right, low)], INK.filled())])?;
            }
            if high > low {
                chart.draw_series([Rectangle::new([(left, low), (right, high)], LIMIT.filled())])?;
            }
        }
        area.present()
    })();
    drawn
        .ok()
        .map(|()| svg.replacen("<svg ", "<svg class=\"trend\" aria-hidden=\"true\" focusable=\"false\" ", 1))
}

#[cfg(test)]
mod tests {
    use super::{bars, figure};

    /// What stands at the upright axis, from its foot.
    fn labels(svg: &str) -> Vec<String> {
        let at_axis = svg.split("<text ").filter(|t| t.contains("text-anchor=\"end\""));
        at_axis.map(|t| t.split('>').nth(1).unwrap().split('<').next().unwrap().trim().to_owned()).collect()
    }

    #[test]
    fn an_axis_names_no_height_twice_and_bars_of_less_than_a_percent_differ() {
        let bar = |low| (String::new(), low, 0);
        assert_eq!(labels(&bars(&[bar(1), bar(2)], 2, 1).unwrap()), ["0", "1", "2"]);
        assert_eq!(labels(&bars(&[bar(1)], 2, 1).unwrap()), ["0", "1"]);
        let tenths = bars(&[bar(14), bar(16), bar(21)], 3, 10).unwrap();
        assert_eq!(labels(&tenths), ["0", "0.5", "1", "1.5", "2"]);
        let heights: std::collections::BTreeSet<&str> = tenths
            .split("<rect ")
            .skip(1)
            .filter_map(|r| r.split("height=\"").nth(1)?.split('"').next())
            .collect();
        assert!(heights.len() >= 3, "{heights:?}");
        assert_eq!(bars(&[bar(0)], 1, 10), None);
    }

    #[test]
    fn a_figure_has_its_thousands_apart_and_a_minus_only_where_something_is_less_than_nothing() {
        for (value, decimals, words) in [
            (1535.0, 0, "1,535"),
            (-429.4, 0, "−429"),
            (-0.04, 1, "0.0"),
            (999.6, 0, "1,000"),
            (-65.04, 1, "−65.0"),
            (1_234_567.25, 1, "1,234,567.2"),
        ] {
            assert_eq!(figure(value, decimals), words);
        }
    }
}
