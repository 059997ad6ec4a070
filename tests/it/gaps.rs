//! What a tablet wrote and what never arrived.

use airmuster::service::Origin;
use airmuster::service::gaps::{dealt_with, gaps};
use airmuster_domain::record::{Asset, Digest, GapDealt, Misfit, Stamp, encode};
use uuid::Uuid;

use super::common::{House, MINUTE, about, house};

/// A tablet with its own count, as the script keeps it.
struct Tablet {
    name: &'static str,
    incarnation: Uuid,
    number: u64,
    before: Option<Digest>,
}

impl Tablet {
    fn new(name: &'static str, incarnation: u128) -> Self {
        Self { name, incarnation: Uuid::from_u128(incarnation), number: 0, before: None }
    }

    fn write(&mut self, h: &House) -> Vec<u8> {
        self.number += 1;
        let stamp = Stamp {
            id: h.id(),
            tablet: self.name.to_owned(),
            incarnation: Some(self.incarnation),
            number: Some(self.number),
            before: self.before,
            at: h.now(),
            ..Stamp::default()
        };
        let bytes = encode("note", &stamp, &about(Asset::unit("1")));
        self.before = Some(Digest::of(&bytes));
        bytes
    }

    fn several(&mut self, h: &House, count: usize) -> Vec<Vec<u8>> {
        (0..count).map(|_| self.write(h)).collect()
    }
}

async fn arrive(h: &House, records: impl IntoIterator<Item = Vec<u8>>) {
    for bytes in records {
        h.pass(MINUTE);
        h.hand_in(bytes, Origin::Tablet { proven: None }).await.unwrap();
    }
}

async fn seen(h: &House) -> Vec<(String, Misfit)> {
    gaps(&h.store).await.unwrap().into_iter().map(|g| (g.tablet, g.what)).collect()
}

#[tokio::test]
async fn a_tablet_that_lost_nothing_has_no_gap_in_whatever_order_its_records_arrive() {
    let h = house().await;
    let mut four = Tablet::new("t4", 4);
    let mut five = Tablet::new("t5", 5);
    let (mut a, b) = (four.several(&h, 6), five.several(&h, 3));
    a.reverse();
    arrive(&h, a.clone()).await;
    arrive(&h, b).await;
    arrive(&h, a).await;
    assert_eq!(seen(&h).await, []);
    h.field("note", "ana", &about(Asset::unit("1"))).await;
    assert_eq!(seen(&h).await, [], "what the server writes for a form has no number");
}

#[tokio::test]
async fn what_never_arrived_is_named_until_it_does() {
    let h = house().await;
    let mut tablet = Tablet::new("t4", 4);
    let all = tablet.several(&h, 9);
    let missing = |from, to| ("t4".to_owned(), Misfit::Missing { from, to });
    arrive(&h, [1, 2, 5, 6, 8].map(|n: usize| all[n].clone())).await;
    assert_eq!(seen(&h).await, [missing(8, 8), missing(4, 5), missing(1, 1)], "newest first");
    assert_eq!(Misfit::Missing { from: 8, to: 8 }.to_string(), "number 8 never arrived");
    assert_eq!(Misfit::Missing { from: 4, to: 5 }.to_string(), "numbers 4 to 5 never arrived");
    arrive(&h, [all[3].clone(), all[0].clone()]).await;
    assert_eq!(seen(&h).await, [missing(8, 8), missing(5, 5)]);
    arrive(&h, all).await;
    assert_eq!(seen(&h).await, []);
    h.verified().await;
}

#[tokio::test]
async fn a_record_that_was_altered_or_a_tablet_set_back_breaks_the_count() {
    let h = house().await;
    let mut tablet = Tablet::new("t4", 4);
    arrive(&h, tablet.several(&h, 3)).await;
    // Set back to an earlier state, it writes other records under numbers that were used.
    let mut back = Tablet::new("t4", 4);
    back.number = 1;
    back.before = Some(Digest::of(b"another one"));
    let again = back.write(&h);
    arrive(&h, [again]).await;
    let of = |what| ("t4".to_owned(), what);
    assert_eq!(seen(&h).await, [of(Misfit::Twice { number: 2 }), of(Misfit::Breaks { number: 2 })]);
    // The third follows one of the two.
    arrive(&h, tablet.several(&h, 1)).await;
    assert_eq!(seen(&h).await.len(), 2);

    let mut other = Tablet::new("t6", 6);
    other.before = Some(Digest::of(b"there is none before the first"));
    arrive(&h, other.several(&h, 1)).await;
    assert_eq!(seen(&h).await[0], ("t6".to_owned(), Misfit::Breaks { number: 1 }));
    let mut other = Tablet::new("t7", 7);
    let mut records = other.several(&h, 1);
    other.before = None;
    records.extend(other.several(&h, 1));
    arrive(&h, records).await;
    assert_eq!(seen(&h).await[0], ("t7".to_owned(), Misfit::Breaks { number: 2 }));
}

#[tokio::test]
async fn a_tablet_that_lost_its_storage_counts_from_one_again_and_that_is_said() {
    let h = house().await;
    let mut old = Tablet::new("t4", 9);
    arrive(&h, old.several(&h, 5)).await;
    let mut new = Tablet::new("t4", 2);
    arrive(&h, new.several(&h, 5)).await;
    assert_eq!(seen(&h).await, [("t4".to_owned(), Misfit::BeganAnew { last: 5 })]);
}

#[tokio::test]
async fn a_count_as_large_as_can_be_written_is_a_gap_and_no_more() {
    let h = house().await;
    let mut tablet = Tablet::new("t4", 4);
    tablet.number = u64::MAX - 1;
    arrive(&h, tablet.several(&h, 1)).await;
    assert_eq!(
        seen(&h).await,
        [("t4".to_owned(), Misfit::Missing { from: 1, to: i64::MAX.unsigned_abs() - 1 })]
    );
}

#[tokio::test]
async fn what_an_officer_has_dealt_with_stays_dealt_with_until_something_else_is_missing() {
    let h = house().await;
    let mut tablet = Tablet::new("t4", 4);
    let all = tablet.several(&h, 12);
    arrive(&h, [0, 1, 5].map(|n: usize| all[n].clone())).await;
    let missing = |from, to| ("t4".to_owned(), Misfit::Missing { from, to });
    assert_eq!(seen(&h).await, [missing(3, 5)]);
    let dealt = |from, to| GapDealt {
        tablet: "t4".to_owned(),
        incarnation: Some(tablet.incarnation),
        what: Misfit::Missing { from, to },
        why: "the tablet fell into the river; both units were checked again".to_owned(),
    };
    h.pass(MINUTE);
    let early = h.desk("gap_dealt", "olga", &dealt(3, 9000)).await.unwrap_err().to_string();
    assert!(early.contains("shows such a gap"), "nobody looks into what does not show yet: {early}");
    h.desk("gap_dealt", "olga", &dealt(3, 5)).await.unwrap();
    assert_eq!(seen(&h).await, [], "this, and what is left of it");
    arrive(&h, [all[3].clone()]).await;
    assert_eq!(seen(&h).await, []);
    arrive(&h, [all[9].clone()]).await;
    assert_eq!(seen(&h).await, [missing(7, 9)], "this is another one");
    h.pass(MINUTE);
    h.desk("gap_dealt", "olga", &dealt(7, 9)).await.unwrap();
    assert_eq!(seen(&h).await, []);
    let kept = dealt_with(&h.store).await.unwrap();
    let told: Vec<_> = kept.iter().map(|(k, d)| (k.record.envelope.by.as_deref(), d.what)).collect();
    assert_eq!(
        told,
        [
            (Some("olga"), Misfit::Missing { from: 7, to: 9 }),
            (Some("olga"), Misfit::Missing { from: 3, to: 5 })
        ]
    );
    h.verified().await;
}
