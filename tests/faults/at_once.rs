//! One record, handed in by many at once, each of them delivered twice.

use std::time::Duration;

use airmuster_domain::record::{Digest, Stamp};
use faultproxy::{Mode, Proxy};
use rand::SeedableRng as _;
use rand::rngs::StdRng;
use serde_json::Value;
use uuid::Uuid;

use super::line::Line;
use super::site::{Site, from_env};
use super::written::something;

const CLIENTS: usize = 64;

#[tokio::test(flavor = "multi_thread")]
async fn sixty_four_at_once_each_delivered_twice_make_one_record_and_equal_receipts() {
    let rounds = from_env("AIRMUSTER_FAULT_ROUNDS", 20);
    let mut rng = StdRng::seed_from_u64(from_env("AIRMUSTER_SEED", 64));
    let site = Site::new().await;
    let server = site.start().await;
    let proxy = Proxy::start(site.address(), 1).await.unwrap();
    proxy.set(Mode::DeliverAgain).await;
    let mut lines: Vec<_> =
        (0..CLIENTS).map(|_| Line::new(proxy.address(), Duration::from_secs(30))).collect();
    let mut handed_in = Vec::new();
    for round in 0..rounds {
        let stamp =
            Stamp { id: Uuid::from_u128(u128::from(round) + 1), tablet: "t1".to_owned(), ..Stamp::default() };
        let record = something(&mut rng, stamp.clone());
        let at_once: Vec<_> = lines
            .into_iter()
            .map(|mut line| {
                let record = record.clone();
                tokio::spawn(async move {
                    let reply = line.post(&record).await.unwrap();
                    (line, reply)
                })
            })
            .collect();
        lines = Vec::with_capacity(CLIENTS);
        let mut receipts: Vec<Value> = Vec::new();
        for one in at_once {
            let (line, reply) = one.await.unwrap();
            assert_eq!(reply.status, 200);
            receipts.push(reply.json);
            lines.push(line);
        }
        let place =
            |r: &Value| (r["id"].clone(), r["digest"].clone(), r["seq"].clone(), r["received"].clone());
        assert_eq!(receipts[0]["id"], stamp.id.to_string());
        assert_eq!(receipts[0]["digest"], Digest::of(&record).to_string());
        assert!(receipts[0]["seq"].is_i64());
        assert!(receipts.iter().all(|r| place(r) == place(&receipts[0])), "round {round}: {receipts:?}");
        handed_in.push(record);
    }
    let twice = 2 * CLIENTS as u64 * rounds;
    assert_eq!(proxy.counts().reached("POST", "/api/v1/records"), twice, "all of them were delivered twice");
    assert_eq!(lines.iter().map(|l| l.repeats).sum::<u64>(), 0);
    server.stop().await;
    let (rows, _) = site.logbook().await;
    let stored: Vec<_> = rows.into_iter().filter(|r| r.tablet == "t1").map(|r| r.bytes).collect();
    assert!(stored == handed_in, "each once, in order, byte for byte");
    site.verified().await;
}
