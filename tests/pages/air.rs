//! The bay's temperature on the check form, without a script.

use super::browser::Browser;
use super::district::{PIN, district};

/// The hidden fields of the form, with these answers.
async fn answers<'a>(browser: &mut Browser, more: &[(&'a str, &'a str)]) -> Vec<(String, String)> {
    let form = browser.get("/units/117/check").await.ok();
    ["id", "started", "purpose", "rules"]
        .into_iter()
        .map(|n| (n.to_owned(), form.value(n)))
        .chain(more.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())))
        .collect()
}

fn borrowed(fields: &[(String, String)]) -> Vec<(&str, &str)> {
    fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect()
}

#[tokio::test]
async fn cold_is_said_beside_a_low_reading_and_the_limit_stays_where_it_is() {
    let d = district().await;
    let mut browser = d.tablet().await;
    let sent = [
        ("bay", "-4"),
        ("bay_scale", "F"),
        ("a.cylinder-pressure.1.at", "3400"),
        ("a.cylinder-pressure.1.at_unit", "psi"),
    ];
    let mut fields = answers(&mut browser, &sent).await;
    let review = browser.post("/units/117/check", &borrowed(&fields)).await.ok();
    let text = review.text();
    assert!(text.contains("At −4 °F a full cylinder reads 3,512 psi. Cold explains it"), "{text}");
    assert!(text.contains("recharge it to 3,512 psi and no further"), "{text}");
    assert!(text.contains("650 psi below the 4,050 psi"), "the limit is not moved: {text}");
    assert_eq!(review.value("bay"), "-4", "it goes along to the signature");
    fields.extend([("member".to_owned(), "ana".to_owned()), ("pin".to_owned(), PIN.to_owned())]);
    let signed = browser.post("/units/117/check/sign", &borrowed(&fields)).await;
    assert_eq!(signed.status, 303, "{}", signed.text());
    let verdict = browser.get(&signed.to).await.ok().text();
    assert!(verdict.contains("recharge it to 3,512 psi"), "where it is to be filled: {verdict}");
    let record = browser.get(signed.to.trim_end_matches("/verdict")).await.ok().text();
    assert!(record.contains("Temperature in the bay\n−4 °F"), "{record}");
}

#[tokio::test]
async fn a_temperature_that_cannot_be_read_is_said_at_its_field_and_may_be_left_out() {
    let d = district().await;
    let mut browser = d.tablet().await;
    let fields = answers(&mut browser, &[("bay", "cold"), ("bay_scale", "C")]).await;
    let back = browser.post("/units/117/check", &borrowed(&fields)).await;
    assert_eq!(back.status, 422);
    assert!(back.said_at("bay").starts_with("Temperature in the bay: "), "{}", back.said_at("bay"));
    assert_eq!(back.value("bay"), "cold");
    let fields = answers(&mut browser, &[("bay", ""), ("bay_scale", "C")]).await;
    let review = browser.post("/units/117/check", &borrowed(&fields)).await.ok();
    assert!(!review.text().contains("a full cylinder reads"));
}
