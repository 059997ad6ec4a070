//! What the frame of every page says of the department.

use std::sync::Arc;

use airmuster_domain::Millis;

use crate::store::{Department, LatePull, Station, Store, StoreError};

/// The department, its stations, and what its officers have to be told at once.
#[derive(Debug, Clone)]
pub struct House {
    /// Its name and shift clock.
    pub department: Department,
    /// Its stations, in order.
    pub stations: Vec<Station>,
    /// Records that came late, pulled a unit which had ridden, and were not read by an officer yet.
    pub late: Vec<LatePull>,
}

impl House {
    /// How it is, to the minute.
    pub async fn load(store: &Store, now: Millis) -> Result<Arc<Self>, StoreError> {
        let read = async {
            Ok(Self {
                department: store.department().await?,
                stations: store.stations().await?,
                late: store.late_pulls().await?,
            })
        };
        store.kept(now, Box::pin(read)).await
    }
}
