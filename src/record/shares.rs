//! Shares of the tissues by their names.

use crate::tissue::class::{PerTissue, Tissue};
use serde::ser::SerializeMap;
use serde::{Deserialize, Deserializer, Serializer};
use std::collections::BTreeMap;

pub(super) fn serialize<S: Serializer>(shares: &PerTissue<Option<f64>>, into: S) -> Result<S::Ok, S::Error> {
    let mut map = into.serialize_map(Some(Tissue::ALL.len()))?;
    for tissue in Tissue::ALL {
        map.serialize_entry(tissue.name(), &shares[tissue])?;
    }
    map.end()
}

pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<PerTissue<Option<f64>>, D::Error> {
    let shares = BTreeMap::<String, Option<f64>>::deserialize(from)?;
    Ok(PerTissue(Tissue::ALL.map(|tissue| shares.get(tissue.name()).copied().flatten())))
}
