//! A fixture as the interface shows it.

use service::{BootReason, Fixture, Standing};

use crate::time;

/// The whole of a fixture.
pub(crate) fn fixture(fixture: &Fixture) -> api::Fixture {
    let record = &fixture.record;
    let document = fixture.record_held.value();
    let member = |name: &str| document.get(name).cloned();
    let (desired, reported, life) = (&fixture.desired, &fixture.reported, &fixture.life);
    api::Fixture {
        id: fixture.id.to_string(),
        title: record.title.clone(),
        kind: record.kind.to_string(),
        groups: record.groups.iter().map(ToString::to_string).collect(),
        switched: record.switched,
        place: member("place").and_then(|place| serde_json::from_value(place).ok()),
        volatile: member("volatile").and_then(|list| serde_json::from_value(list).ok()),
        notes: member("notes").and_then(|notes| notes.as_str().map(str::to_owned)),
        created: time::write(fixture.created),
        enrolled: fixture.enrolled_at.map(time::write),
        rev: fixture.record_held.revision.get(),
        desired: api::DesiredState {
            rev: desired.revision.get(),
            at: (desired.revision.get() > 0).then(|| time::write(desired.at)),
        },
        reported: api::ReportedState {
            applied: life.applied.get(),
            applied_at: life.applied_at.map(time::write),
            rev: reported.revision.get(),
            at: (reported.revision.get() > 0).then(|| time::write(reported.at)),
        },
        standing: standing(Standing::of(fixture)),
        alive: life.alive,
        heard: life.heard.map(time::write),
        boot: life.boot.as_ref().map(|boot| api::LastBoot {
            at: time::write(boot.at),
            reason: reason(boot.reason),
            have: boot.have,
            firmware: boot.firmware.clone(),
            boots: boot.boots,
            rssi: boot.rssi,
        }),
        boots_heard: life.boots_heard,
    }
}

fn standing(standing: Standing) -> api::Standing {
    match standing {
        Standing::InStep => api::Standing::InStep,
        Standing::Behind => api::Standing::Behind,
        Standing::Silent => api::Standing::Silent,
        Standing::NeverHeard => api::Standing::NeverHeard,
    }
}

fn reason(reason: BootReason) -> api::BootReason {
    match reason {
        BootReason::PowerOn => api::BootReason::PowerOn,
        BootReason::Brownout => api::BootReason::Brownout,
        BootReason::Watchdog => api::BootReason::Watchdog,
        BootReason::Software => api::BootReason::Software,
    }
}
