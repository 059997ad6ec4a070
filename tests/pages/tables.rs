//! A department's own data from tables, on a page.

use super::district::district;

#[tokio::test]
async fn tables_are_looked_through_then_taken_in_on_the_administrators_word() {
    let d = district().await;
    let mut ada = d.signed_in("ada").await;
    let page = ada.get("/register/import").await.ok();
    assert!(page.text().contains("units.csv: A unit"), "{}", page.text());
    assert!(ada.get("/register/import/units.csv").await.ok().html.starts_with("number,profile,cadence,"));
    assert_eq!(ada.get("/register/import/hats.csv").await.status, 404);

    let before = d.records().await;
    let good = "id;name\r\nhill;Hilltop\r\nmill;Millrace\r\n";
    let send = |act, table| [("dates", None, ""), ("act", None, act), ("files", Some("stations.csv"), table)];
    let page = ada.post_files("/register/import", &send("take", "id,name\nhill,\nhill hall,x\n")).await;
    assert_eq!(page.status, 422);
    let text = page.text();
    assert!(text.contains("stations.csv, row 2, name this is empty; fill it in"), "{text}");
    assert!(text.contains("stations.csv, row 3, id “hill hall” cannot be used"), "{text}");
    let nothing = ada.post_files("/register/import", &[("act", None, "take"), ("files", Some(""), "")]).await;
    assert_eq!(nothing.status, 422);
    assert!(nothing.text().contains("Choose the tables first."));
    let looked = ada.post_files("/register/import", &send("look", good)).await.ok().text();
    assert!(looked.contains("Nothing is wrong. Taken in, it would be: 1 entry"), "{looked}");
    assert_eq!(d.records().await, before);

    let taken = ada.post_files("/register/import", &send("take", good)).await.ok().text();
    assert!(taken.contains("Taken in: 1 entry"), "{taken}");
    assert_eq!(d.records().await, before + 1);
    assert!(ada.get("/stations").await.ok().text().contains("Hilltop"));
    let again = ada.post_files("/register/import", &send("take", good)).await.ok().text();
    assert!(again.contains("All of it is there already"), "{again}");
    assert_eq!(d.records().await, before + 1);
}
