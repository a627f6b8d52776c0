//! The ceiling: the least of what supply, fuses, wire, connectors, rails and heat allow, less the controller's own.

use super::answer::{Branch, Ceiling, Limit, say, tidy};
use super::built::Built;
use super::fuse::{FUSE_LOADING, SUPPLY_LOADING};
use super::load;
use super::rails::{Ladder, Loaded};

/// How the pixels' currents gather on feed points and rails.
pub(super) struct Shares {
    /// For each feed point, greatest first.
    points: Vec<Vec<f64>>,
    /// For each piece of rail next to a feed point and each direction, greatest first.
    rails: Vec<Vec<f64>>,
    pixel_amps: f64,
}

impl Shares {
    pub(super) fn of(built: &Built<'_>, ladder: &Ladder) -> Self {
        let points = ladder.point_shares().iter().map(|shares| load::greatest_first(shares, 1.0)).collect();
        let rails = ladder
            .rail_shares()
            .iter()
            .flat_map(|shares| [load::greatest_first(shares, 1.0), load::greatest_first(shares, -1.0)])
            .collect();
        Self { points, rails, pixel_amps: built.full_amps() / built.pixels as f64 }
    }

    /// The greatest total with which none of these conductors can carry more than `limit`, however a look lies along
    /// the strip. Where full white cannot either, what an even load could rise to.
    fn most_total(&self, conductors: &[Vec<f64>], limit: f64, full: f64) -> f64 {
        let each = conductors.iter().map(|shares| {
            load::most_total(shares, self.pixel_amps, limit).unwrap_or_else(|| {
                let at_full = load::most_here(shares, self.pixel_amps, full);
                if at_full > 0.0 { full * (limit / at_full).max(1.0) } else { f64::INFINITY }
            })
        });
        each.fold(f64::INFINITY, f64::min)
    }
}

/// The ceiling with all its limits.
pub(super) fn ceiling(built: &Built<'_>, shares: &Shares, heat_limit: f64) -> Ceiling {
    let full = built.full_amps();
    let mut limits = Vec::new();
    let mut add = |from: &str, amps: f64, text: String| {
        if amps.is_finite() {
            limits.push(Limit { from: from.to_owned(), amps: tidy(amps.max(0.0)), text });
        }
    };
    if let Some(supply) = built.sheet.supply_amps {
        add("supply", supply * SUPPLY_LOADING, format!("{} A × {SUPPLY_LOADING} for long", say(supply)));
    }
    if let Some(fuse) = built.sheet.fuse_amps {
        add("fuse", fuse * FUSE_LOADING, format!("{} A × {FUSE_LOADING} for long", say(fuse)));
    }
    let several = if built.points.len() > 1 { " at each feed, a look gathered at one of them" } else { "" };
    if let Some(fuse) = built.branch_fuse {
        let amps = shares.most_total(&shares.points, fuse * FUSE_LOADING, full);
        add("branch fuse", amps, format!("{} A × {FUSE_LOADING} for long{several}", say(fuse)));
    }
    let amps = shares.most_total(&shares.points, built.ampacity, full);
    add("wire", amps, format!("{} A in {}{several}", say(built.ampacity), built.size.words()));
    let amps = shares.most_total(&shares.points, built.connector_amps, full);
    add("connector", amps, format!("{} A in a connector{several}", say(built.connector_amps)));
    let amps = shares.most_total(&shares.rails, built.rail_amps, full);
    add("rails", amps, format!("{} A in a rail of the strip", say(built.rail_amps)));
    let amps = heat_limit * built.metres / built.volts;
    add("heat", amps, format!("{} W/m over {} m at {} V", say(heat_limit), say(built.metres), say(built.volts)));

    limits.sort_by(|a, b| a.amps.total_cmp(&b.amps));
    let (least, from) = limits.first().map_or((0.0, String::new()), |limit| (limit.amps, limit.from.clone()));
    Ceiling {
        amps: tidy((least - built.controller_amps).max(0.0)),
        from,
        controller_amps: tidy(built.controller_amps),
        limits,
    }
}

/// Each feed point at full white and at the ceiling.
pub(super) fn branches(
    built: &Built<'_>,
    shares: &Shares,
    full: &Loaded,
    at_ceiling: &Loaded,
    ceiling_amps: f64,
) -> Vec<Branch> {
    let upstream = match (built.branch_fuse, built.sheet.fuse_amps) {
        (Some(own), Some(main)) => Some(own.min(main)),
        (own, main) => own.or(main),
    };
    built
        .points
        .iter()
        .zip(&shares.points)
        .zip(full.point_amps.iter().zip(&at_ceiling.point_amps))
        .map(|((point, shares_here), (full_white, ceiling))| Branch {
            point: *point,
            full_white_amps: tidy(*full_white),
            ceiling_amps: tidy(*ceiling),
            worst_amps: tidy(load::most_here(shares_here, shares.pixel_amps, ceiling_amps)),
            fuse_amps: upstream,
        })
        .collect()
}
