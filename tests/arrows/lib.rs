//! Which crate may depend on which: the table of DEVELOPERS.md, held against `cargo metadata`.

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use cargo_metadata::{DependencyKind, MetadataCommand};

    /// A crate, what of ours it may depend on, and what it may never know of others'.
    const ARROWS: &[(&str, &[&str], &[&str])] = &[
        ("document", &[], &["tokio", "jiff", "sqlx", "axum"]),
        ("light", &["device"], &["serde_json", "tokio", "jiff", "sqlx", "axum"]),
        ("almanac", &[], &["tokio", "serde_json", "sqlx", "axum"]),
        ("device", &[], &["tokio", "serde_json", "rumqttc", "jiff", "sqlx", "axum"]),
        ("device-c", &["device"], &["tokio", "serde_json", "rumqttc", "jiff", "sqlx", "axum"]),
        ("kernel", &["document", "light", "almanac"], &["tokio", "sqlx", "axum", "rumqttc", "mqtt5", "tracing"]),
        ("store", &["kernel", "document"], &["axum", "rumqttc", "mqtt5"]),
        ("service", &["kernel", "store", "document", "almanac"], &["axum", "rumqttc", "mqtt5", "sqlx"]),
        ("broker", &[], &["sqlx", "axum", "rumqttc"]),
        ("courier", &["service", "document"], &["sqlx", "axum", "mqtt5"]),
        ("api", &[], &["axum", "tokio", "sqlx"]),
        ("web", &["service", "api", "document", "almanac"], &["sqlx", "rumqttc", "mqtt5"]),
        ("simulator", &["device", "document", "light"], &["sqlx", "axum", "mqtt5"]),
        (
            "sconced",
            &["api", "web", "service", "store", "kernel", "document", "almanac", "courier", "broker", "simulator"],
            &["sqlx", "rumqttc", "mqtt5"],
        ),
        ("testkit", &["service", "courier", "broker", "almanac"], &["sqlx", "axum", "mqtt5"]),
        (
            "bench",
            &[
                "document",
                "light",
                "almanac",
                "device",
                "kernel",
                "store",
                "service",
                "broker",
                "courier",
                "api",
                "web",
                "simulator",
                "sconced",
            ],
            &[],
        ),
        ("arrows", &[], &[]),
    ];

    fn graph() -> BTreeMap<String, BTreeSet<String>> {
        let manifest = concat!(env!("CARGO_MANIFEST_DIR"), "/../../Cargo.toml");
        let metadata = MetadataCommand::new()
            .manifest_path(manifest)
            .no_deps()
            .other_options(["--offline".to_owned()])
            .exec()
            .expect("cargo metadata");
        metadata
            .packages
            .iter()
            .map(|package| {
                let names = package
                    .dependencies
                    .iter()
                    .filter(|dependency| dependency.kind == DependencyKind::Normal)
                    .map(|dependency| dependency.name.clone())
                    .collect();
                (package.name.to_string(), names)
            })
            .collect()
    }

    #[test]
    fn every_crate_stands_in_the_table() {
        let known: BTreeSet<&str> = ARROWS.iter().map(|(name, ..)| *name).collect();
        for name in graph().keys() {
            assert!(known.contains(name.as_str()), "{name} has no row in the table of arrows");
        }
    }

    #[test]
    fn no_crate_depends_on_one_that_it_may_not_know() {
        let graph = graph();
        for (name, ours, never) in ARROWS {
            let Some(dependencies) = graph.get(*name) else {
                panic!("{name} is in the table but not in the workspace")
            };
            for dependency in dependencies {
                if graph.contains_key(dependency) {
                    assert!(ours.contains(&dependency.as_str()), "{name} must not depend on {dependency}");
                }
                assert!(!never.contains(&dependency.as_str()), "{name} must never know {dependency}");
            }
        }
    }
}
