//! A budget as text for a terminal.

use super::answer::{Budget, CautionAbout, Finding, Grade, say};

/// The narrowest text that still has room for its columns.
const NARROWEST: usize = 50;

/// The budget as text, each line at most `width` characters (at least 50), ending with a newline. Findings come first,
/// by grade; cautions stand beside the numbers that they are about.
pub fn report(budget: &Budget, width: usize) -> String {
    let mut page = Page { text: String::new(), width: width.max(NARROWEST) };
    let strip = &budget.strip;
    page.line(&format!(
        "Budget of {} pixels of {}, {} m, {} V",
        strip.pixels,
        strip.chip,
        say(strip.metres),
        say(strip.volts)
    ));
    page.caution(budget, CautionAbout::All);
    findings(budget, &mut page);
    currents(budget, &mut page);
    voltages(budget, &mut page);
    wiring(budget, &mut page);
    page.heading("Heat");
    page.row("full white", &format!("{} W/m", say(budget.heat.full_white_watts_per_metre)));
    page.row("at the ceiling", &format!("{} W/m", say(budget.heat.ceiling_watts_per_metre)));
    page.row("limit", &format!("{} W/m ({})", say(budget.heat.limit_watts_per_metre), budget.heat.source));
    page.caution(budget, CautionAbout::Heat);
    signals(budget, &mut page);
    page.heading("Mains");
    let idle = &budget.idle;
    page.row(
        "dark strip",
        &format!("{} A, {} W, {} kWh a year of dark", say(idle.amps), say(idle.watts), say(idle.dark_year_kwh)),
    );
    page.row("a relay saves", &format!("{} kWh a year", say(idle.relay_saves_kwh)));
    page.caution(budget, CautionAbout::Mains);
    if !budget.assumptions.is_empty() {
        page.heading("Taken for what the sheet does not say");
        for assumption in &budget.assumptions {
            page.wrapped("  ", "    ", &format!("{}: {} ({})", assumption.pointer, assumption.taken, assumption.why));
        }
    }
    page.text
}

fn findings(budget: &Budget, page: &mut Page) {
    for (grade, title) in [(Grade::Danger, "DANGER"), (Grade::Mend, "To mend"), (Grade::Note, "To know")] {
        let of_grade: Vec<&Finding> = budget.findings.iter().filter(|finding| finding.grade == grade).collect();
        if of_grade.is_empty() {
            continue;
        }
        page.heading(&format!("{title} ({})", of_grade.len()));
        for (index, finding) in of_grade.iter().enumerate() {
            let number = format!("{:>3}. ", index + 1);
            page.wrapped(&number, "     ", &finding.text);
            page.wrapped("     do: ", "         ", &finding.mend);
            page.wrapped("     by: ", "         ", &finding.source);
        }
    }
}

fn currents(budget: &Budget, page: &mut Page) {
    page.heading("Current");
    let white = &budget.full_white;
    let measured = if white.measured { ", as measured" } else { "" };
    page.row("full white", &format!("{} A, {} W{measured}", say(white.amps), say(white.watts)));
    let ceiling = &budget.ceiling;
    page.row("ceiling", &format!("{} A, from: {}", say(ceiling.amps), ceiling.from));
    for limit in &ceiling.limits {
        page.row(&format!("  {}", limit.from), &format!("{} A ({})", say(limit.amps), limit.text));
    }
    page.row("  controller", &format!("-{} A", say(ceiling.controller_amps)));
    if !budget.looks.is_empty() {
        page.line("");
        let name_width =
            budget.looks.keys().map(|name| name.chars().count()).max().unwrap_or(4).clamp(4, page.width - 42);
        page.line(&format!("  {:name_width$}  peak A  mean A  shown A  least V", "look"));
        for (name, look) in &budget.looks {
            let name: String = name.chars().take(name_width).collect();
            page.line(&format!(
                "  {name:name_width$}  {:>6}  {:>6}  {:>7}  {:>7}",
                fixed(look.peak_amps),
                fixed(look.mean_amps),
                fixed(look.shown_amps),
                fixed(look.minimum_volts)
            ));
        }
    }
    page.caution(budget, CautionAbout::Current);
}

fn voltages(budget: &Budget, page: &mut Page) {
    page.heading("Voltage");
    let voltage = &budget.voltage;
    let told = |volts: f64, pixel: u32| format!("{} V at pixel {pixel}", say(volts));
    page.row("full white", &format!("least {}", told(voltage.minimum, voltage.at_pixel)));
    page.row("at the ceiling", &format!("least {}", told(voltage.at_ceiling.minimum, voltage.at_ceiling.at_pixel)));
    page.line("");
    page.line(&format!("  {:36}  white V  ceiling V", "fed at"));
    for way in &budget.alternatives {
        let (white, ceiling) = (fixed(way.full_white.minimum), fixed(way.at_ceiling.minimum));
        let name: String = way.name.chars().take(page.width.saturating_sub(24).min(36)).collect();
        let pad = page.width.saturating_sub(24).min(36);
        page.line(&format!("  {name:pad$}  {white:>7}  {ceiling:>9}"));
    }
}

fn wiring(budget: &Budget, page: &mut Page) {
    page.heading("Wire and fuses");
    let wire = &budget.feed_wire;
    page.row(
        "each feed",
        &format!(
            "{}, {} m one way, loop {} ohm, carries {} A",
            wire.size,
            say(wire.metres),
            say(wire.loop_ohms),
            say(wire.ampacity_amps)
        ),
    );
    page.row("", &wire.source);
    for branch in &budget.branches {
        let fuse = branch.fuse_amps.map_or("no fuse".to_owned(), |fuse| format!("behind {} A", say(fuse)));
        page.row(
            &format!("feed at {} m", say(branch.point)),
            &format!(
                "white {} A, ceiling {} A, at worst {} A, {fuse}",
                say(branch.full_white_amps),
                say(branch.ceiling_amps),
                say(branch.worst_amps)
            ),
        );
    }
    let short = &budget.fault;
    let opening =
        short.opening_amps.map_or("no main fuse".to_owned(), |amps| format!("the main fuse needs {} A", say(amps)));
    page.row(
        "far short circuit",
        &format!(
            "{} A through {} ohm at pixel {}; {opening}",
            say(short.prospective_amps),
            say(short.loop_ohms),
            short.at_pixel
        ),
    );
}

fn signals(budget: &Budget, page: &mut Page) {
    page.heading("Data and buffer");
    let data = &budget.data;
    page.row(
        "data level",
        &format!(
            "{} V, threshold {} V, margin {} V",
            say(data.high_volts),
            say(data.threshold_volts),
            say(data.margin_volts)
        ),
    );
    page.row("ground offset", &format!("{} V at full white", say(data.ground_offset_volts)));
    let refresh = &budget.refresh;
    page.row(
        "frames",
        &format!("{} ms, {} a second", say(refresh.frame_seconds * 1000.0), say(refresh.frames_per_second)),
    );
    page.caution(budget, CautionAbout::Data);
    let capacitor = &budget.capacitor;
    let dip = capacitor.dip_volts.map_or("no dip known".to_owned(), |dip| format!("dips {} V", say(dip)));
    page.row(
        "capacitor",
        &format!(
            "{} µF, {dip} for a step of {} A, inrush {} A",
            say(capacitor.microfarads),
            say(capacitor.step_amps),
            say(capacitor.inrush_amps)
        ),
    );
    page.caution(budget, CautionAbout::Capacitor);
}

/// A number for a column.
fn fixed(value: f64) -> String {
    format!("{value:.2}")
}

struct Page {
    text: String,
    width: usize,
}

/// Where the second column of a row begins.
const COLUMN: usize = 22;

impl Page {
    fn line(&mut self, line: &str) {
        let cut: String = line.trim_end().chars().take(self.width).collect();
        self.text.push_str(&cut);
        self.text.push('\n');
    }

    fn heading(&mut self, title: &str) {
        self.line("");
        self.line(title);
        self.line(&"-".repeat(title.chars().count()));
    }

    fn row(&mut self, name: &str, value: &str) {
        let first = format!("  {name:<width$}", width = COLUMN - 2);
        self.wrapped(&first, &" ".repeat(COLUMN), value);
    }

    fn caution(&mut self, budget: &Budget, about: CautionAbout) {
        for caution in budget.cautions.iter().filter(|caution| caution.about == about) {
            self.wrapped("  ! ", "    ", &caution.text);
        }
    }

    /// Words within the width, the first line behind `first`, the others behind `next`.
    fn wrapped(&mut self, first: &str, next: &str, text: &str) {
        let mut line = first.to_owned();
        let mut fresh = true;
        for word in text.split_whitespace() {
            let wanted = line.chars().count() + word.chars().count() + usize::from(!fresh);
            if !fresh && wanted > self.width {
                self.line(&line);
                line = next.to_owned();
                fresh = true;
            }
            if !fresh {
                line.push(' ');
            }
            line.push_str(word);
            fresh = false;
        }
        self.line(&line);
    }
}
