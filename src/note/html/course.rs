//! The suspects' probabilities over the session.

use super::svg::*;
use crate::note::model::{Course, SuspectNote};
use crate::note::sections::percent;
use maud::{Markup, html};

const WIDE: f64 = 720.0;
const HIGH: f64 = 330.0;
/// Room for the scale, the labels of the lines, and the numbers below.
const LEFT: f64 = 88.0;
const RIGHT: f64 = 206.0;
const TOP: f64 = 18.0;
const BOTTOM: f64 = 50.0;
/// Labels of lines keep so far apart.
const APART: f64 = 27.0;
/// Dashes of the second line and those after it.
const DASHES: [&str; 5] = ["none", "none", "11 6", "3 4", "14 4 3 4"];

/// The drawing and its caption.
pub fn draw(course: &Course) -> (Markup, String) {
    let last = |s: &SuspectNote| s.probability.last().copied().unwrap_or(0.0);
    let ends: Vec<String> = course
        .suspects
        .iter()
        .map(|s| format!("{} ends at {}", s.unit, percent(last(s))))
        .collect();
    let about = format!(
        "One line a suspect over {} readings: {}. The table below has all values.",
        course.points.len() - 1,
        ends.join("; ")
    );
    let labels = label_heights(course);
    let inside = html! {
        @for (share, label) in [(0.0, "0 %"), (0.5, "50 %"), (1.0, "100 %")] {
            line.grid x1=(n(LEFT)) x2=(n(WIDE - RIGHT)) y1=(n(y(share))) y2=(n(y(share))) {}
            text.scale x=(n(LEFT - 8.0)) y=(n(y(share) + 6.0)) { (label) }
        }
        (marks(course))
        @for (i, s) in course.suspects.iter().enumerate().rev() { (line(course, i, s, labels[i])) }
    };
    let mut caption = "Numbers below the lines are those of the table.".to_string();
    if course.points.iter().any(|p| p.remedy) {
        caption.push_str(" A filled square: something was done then.");
    }
    if course.points.windows(2).any(|p| p[0].run != p[1].run) {
        caption.push_str(" A dotted upright: a new run begins.");
    }
    (
        drawing(
            "course",
            (WIDE, HIGH),
            "Suspects over the session",
            &about,
            &inside,
        ),
        caption,
    )
}

fn x(course: &Course, point: usize) -> f64 {
    let steps = (course.points.len() - 1).max(1) as f64;
    LEFT + 14.0 + (WIDE - LEFT - RIGHT - 28.0) * point as f64 / steps
}

fn y(p: f64) -> f64 {
    TOP + (HIGH - TOP - BOTTOM) * (1.0 - p)
}

/// Numbers of the points, runs, and remedies.
fn marks(course: &Course) -> Markup {
    let run_starts: Vec<usize> = (1..course.points.len())
        .filter(|&i| course.points[i].run != course.points[i - 1].run)
        .collect();
    html! {
        @for &i in &run_starts {
            @let middle = (x(course, i - 1) + x(course, i)) / 2.0;
            line.run x1=(n(middle)) x2=(n(middle)) y1=(n(TOP - 12.0)) y2=(n(y(0.0))) {}
        }
        @for (i, p) in course.points.iter().enumerate() {
            // With many points every second number is enough, and all there is room for on a phone.
            @if course.points.len() <= 9 || i % 2 == 0 {
                text.point x=(n(x(course, i))) y=(n(HIGH - 22.0)) { (p.number) }
            }
            @if p.remedy {
                rect.remedy x=(n(x(course, i) - 5.0)) y=(n(HIGH - 14.0)) width="10" height="10" {}
            }
        }
    }
}

fn line(course: &Course, i: usize, s: &SuspectNote, label: f64) -> Markup {
    let colour = match i {
        0 => ACCENT,
        1 | 2 => INK,
        _ => GREY,
    };
    let points: Vec<String> = s
        .probability
        .iter()
        .enumerate()
        .map(|(k, p)| format!("{},{}", n(x(course, k)), n(y(*p))))
        .collect();
    let end = (
        x(course, course.points.len() - 1),
        y(s.probability.last().copied().unwrap_or(0.0)),
    );
    let start = WIDE - RIGHT + 8.0;
    html! {
        polyline.line points=(points.join(" ")) stroke=(colour) stroke-width=(if i == 0 { "4" } else { "2" }) stroke-dasharray=(DASHES[i % DASHES.len()]) {}
        @for (k, p) in s.probability.iter().enumerate() {
            circle cx=(n(x(course, k))) cy=(n(y(*p))) r=(if i == 0 { "4.5" } else { "3" }) fill=(colour) {}
        }
        line.lead x1=(n(end.0 + 6.0)) y1=(n(end.1)) x2=(n(start - 3.0)) y2=(n(label)) stroke=(colour) {}
        text.label x=(n(start)) y=(n(label + 6.0)) fill=(colour) font-weight=(if i == 0 { "700" } else { "400" }) {
            (s.number) " " (short(&s.unit))
        }
    }
}

fn short(unit: &str) -> String {
    let unit = unit
        .replace(", taken out", ", out")
        .replace(", now in ", ", in ");
    if unit.chars().count() <= 14 {
        return unit;
    }
    let head: String = unit.chars().take(13).collect();
    format!("{}…", head.trim_end())
}

/// Where the labels stand: beside the ends of their lines, pushed apart.
fn label_heights(course: &Course) -> Vec<f64> {
    let ends: Vec<f64> = course
        .suspects
        .iter()
        .map(|s| y(s.probability.last().copied().unwrap_or(0.0)))
        .collect();
    let mut order: Vec<usize> = (0..ends.len()).collect();
    order.sort_by(|&a, &b| ends[a].total_cmp(&ends[b]).then(a.cmp(&b)));
    let mut out = ends.clone();
    for pair in 1..order.len() {
        let (above, here) = (order[pair - 1], order[pair]);
        out[here] = out[here].max(out[above] + APART);
    }
    // What was pushed below the scale comes up again, and pushes those above it.
    let mut floor = y(0.0) + 4.0;
    for &k in order.iter().rev() {
        out[k] = out[k].min(floor);
        floor = out[k] - APART;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::note::model::PointNote;

    fn course(ends: &[f64]) -> Course {
        let point = |number| PointNote {
            number,
            line: number,
            run: 1,
            text: String::new(),
            remedy: false,
        };
        let suspect = |(i, p): (usize, &f64)| SuspectNote {
            number: i + 1,
            unit: format!("U{i}"),
            socket: format!("U{i}"),
            part: None,
            role: String::new(),
            fault: String::new(),
            probability: vec![0.1, *p],
        };
        Course {
            points: vec![point(0), point(1)],
            suspects: ends.iter().enumerate().map(suspect).collect(),
            groups: Vec::new(),
            rates: None,
        }
    }

    #[test]
    fn labels_never_cover_each_other_and_stay_on_the_drawing() {
        for ends in [
            vec![0.0, 0.0, 0.0, 0.0, 0.0],
            vec![1.0, 1.0, 1.0, 1.0, 1.0],
            vec![0.9, 0.1, 0.1, 0.09, 0.5],
            vec![0.3],
        ] {
            let mut at = label_heights(&course(&ends));
            at.sort_by(f64::total_cmp);
            assert!(at.windows(2).all(|w| w[1] - w[0] >= APART - 1e-9), "{at:?}");
            assert!(at.iter().all(|y| (0.0..HIGH).contains(y)), "{at:?}");
        }
    }
}
