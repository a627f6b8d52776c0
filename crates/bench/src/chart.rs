//! The chart: how far each goal is reached, as bars against the line where it is met.

use std::path::Path;

use plotters::prelude::{
    BLACK, IntoDrawingArea as _, PathElement, RGBColor, Rectangle, SVGBackend, Text, TextStyle, WHITE,
};
use plotters::style::{Color as _, IntoFont as _};

use crate::error::BenchError;
use crate::figure::Figure;
use crate::report::{Report, goal, value};

const WIDTH: i32 = 1080;
const ROW: i32 = 24;
/// Where bars begin, and where the goal's line stands.
const LEFT: i32 = 560;
const LINE: i32 = 780;
/// Bars end here, however far a goal is passed.
const RIGHT: i32 = 940;
const TOP: i32 = 64;

/// Draws the figures that have a goal into an SVG file.
pub(crate) fn draw(path: &Path, report: &Report) -> Result<(), BenchError> {
    let mut svg = String::new();
    into(&mut svg, report).map_err(BenchError::Chart)?;
    std::fs::write(path, svg).map_err(BenchError::io("writing the chart"))
}

fn into(svg: &mut String, report: &Report) -> Result<(), String> {
    let figures: Vec<&Figure> = report.figures.iter().filter(|figure| figure.goal.is_some()).collect();
    let rows = i32::try_from(figures.len()).map_err(|error| error.to_string())?;
    let height = TOP + ROW * rows + 24;
    let size = (WIDTH.unsigned_abs(), height.unsigned_abs());
    let area = SVGBackend::with_string(svg, size).into_drawing_area();
    let failed = |error: plotters::drawing::DrawingAreaErrorKind<_>| -> String { format!("{error:?}") };
    area.fill(&WHITE).map_err(failed)?;
    let text = |size: i32| TextStyle::from(("sans-serif", size).into_font()).color(&BLACK);
    let words = |words: String, at: (i32, i32), size: i32| -> Result<(), String> {
        area.draw(&Text::new(words, at, text(size))).map_err(|error| format!("{error:?}"))
    };
    words("How far each goal is reached (the line: met)".into(), (16, 12), 18)?;
    words(report.machine.words(), (16, 38), 12)?;
    for (index, figure) in figures.iter().enumerate() {
        let top = TOP + ROW * i32::try_from(index).unwrap_or(0);
        words(format!("{}, {}", figure.name, figure.size), (16, top + 4), 13)?;
        let Some(reached) = figure.reached() else { continue };
        let length = f64::from(LINE - LEFT) * reached;
        let end = LEFT + (length.min(f64::from(RIGHT - LEFT)).max(1.0)) as i32;
        let colour = if reached >= 1.0 { RGBColor(47, 125, 109) } else { RGBColor(201, 115, 44) };
        area.draw(&Rectangle::new([(LEFT, top + 3), (end, top + ROW - 4)], colour.filled()))
            .map_err(|error| format!("{error:?}"))?;
        let reading = value(figure.ratio.unwrap_or(figure.ours));
        words(format!("{reading} (goal {})", goal(figure)), (RIGHT + 8, top + 4), 12)?;
    }
    let line = vec![(LINE, TOP - 4), (LINE, TOP + ROW * rows)];
    area.draw(&PathElement::new(line, BLACK.stroke_width(1))).map_err(|error| format!("{error:?}"))?;
    area.present().map_err(|error| format!("{error:?}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::Goal;
    use crate::machine::Machine;
    use crate::plan::Plan;

    #[test]
    fn the_chart_has_a_bar_for_each_figure_with_a_goal() {
        let folder = tempfile::tempdir().unwrap();
        let figures = vec![
            Figure::against("edits", "edits over HTTP", "/s", 90.0, 100.0).goal(Goal::AtLeast(0.8)),
            Figure::against("single", "one edit", "ms", 9.0, 1.0).goal(Goal::AtMost(2.5)),
            Figure::alone("idle", "without a goal", "%", 0.1),
        ];
        let machine = Machine::look(folder.path()).unwrap();
        let report = Report { machine, plan: Plan::new(true), figures, seconds: 1.0, others_percent: 0.0 };
        let path = folder.path().join("chart.svg");
        draw(&path, &report).unwrap();
        let svg = std::fs::read_to_string(path).unwrap();
        assert!(svg.starts_with("<svg") && svg.contains("edits over HTTP") && svg.contains("one edit"), "{svg}");
        assert!(!svg.contains("without a goal"));
        // the background and a bar for each
        assert_eq!(svg.matches("<rect").count(), 3, "{svg}");
    }
}
