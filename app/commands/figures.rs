//! `plinthside figures`: what a practice learns from all its visits.

use super::print;
use crate::cli::FiguresArgs;
use crate::error::AppError;
use crate::files;
use plinthside_measure::quantity::Unit;
use plinthside_visit::figures::{Estimate, Grouped, Practice, Rate, Repeats, Turnaround, practice};
use plinthside_visit::follow_up::RemakeCause;
use plinthside_visit::{Lang, Visit};
use std::fmt::Write;

/// Runs the command.
///
/// # Errors
/// The store can't be opened.
pub fn run(args: &FiguresArgs) -> Result<(), AppError> {
    let mut records = args.store.place()?.open()?;
    let everything = records.everything()?;
    let counts = |visit: &&Visit| {
        let day = visit.at.map(|at| at.date_naive());
        args.from.is_none_or(|from| day.is_some_and(|d| d >= from))
            && args.to.is_none_or(|to| day.is_some_and(|d| d <= to))
    };
    let figures = practice(everything.visits.iter().filter(counts));
    if args.json {
        print(&files::json_text(&figures)?)
    } else {
        print(&text(&figures))
    }
}

fn text(figures: &Practice) -> String {
    let Some(remakes) = &figures.remakes else {
        return "No brace was fitted or made again in these visits: nothing to count yet.\n".into();
    };
    let mut text = format!(
        "Braces fitted or made again: {}; made again: {}\n",
        remakes.of,
        rate(remakes)
    );
    let causes = figures.by_cause.iter().map(|(cause, rate)| {
        let cause = RemakeCause::from(cause.clone());
        (cause.label(Lang::En).to_owned(), *rate)
    });
    for (head, groups) in [
        ("why", &causes.collect()),
        ("by who cast", &figures.by_caster),
        ("by lab", &figures.by_lab),
        ("by hinge", &figures.by_hinge),
    ] {
        grouped(&mut text, head, groups);
    }
    for (lab, days) in std::iter::once(("all labs", figures.turnaround.as_ref())).chain(
        figures
            .turnaround_by_lab
            .iter()
            .map(|(lab, days)| (lab.as_str(), Some(days))),
    ) {
        if let Some(days) = days {
            turnaround(&mut text, lab, days);
        }
    }
    if let Some((mean, said)) = figures.first_comfort {
        let _ = writeln!(
            text,
            "Comfort at the first fitting: {mean:.1} of 10 ({said} said)"
        );
    }
    for (caster, quantities) in &figures.repeats {
        let _ = writeln!(text, "{caster}, feet cast again at one visit");
        for (name, repeats) in quantities {
            repeated(&mut text, name.label(), name.unit(), repeats);
        }
    }
    text
}

/// `2 of 12, 17 % (95 %: 5 to 45 %)`
fn rate(rate: &Rate) -> String {
    let share = rate.share.map_or_else(String::new, |share| {
        let [value, low, high] = [share.value, share.low95, share.high95].map(|s| 100.0 * s);
        format!(", {value:.0} % (95 %: {low:.0} to {high:.0} %)")
    });
    format!("{} of {}{share}", rate.count, rate.of)
}

fn grouped(text: &mut String, head: &str, groups: &Grouped) {
    let named = groups.iter().filter(|(name, _)| !name.is_empty());
    for (i, (name, figure)) in named.enumerate() {
        if i == 0 {
            let _ = writeln!(text, "  {head}");
        }
        let _ = writeln!(text, "    {name}: {}", rate(figure));
    }
}

fn turnaround(text: &mut String, lab: &str, days: &Turnaround) {
    let _ = writeln!(
        text,
        "From hand-over to fitting, {lab}: {:.0} days in the middle, {:.0} to {:.0} for the middle half of {}",
        days.median_days, days.lower_quartile_days, days.upper_quartile_days, days.n
    );
}

fn repeated(text: &mut String, name: &str, unit: Unit, repeats: &Repeats) {
    let unit = unit.sign();
    let Estimate {
        value,
        low95,
        high95,
    } = repeats.icc.icc_1_1;
    let _ = writeln!(
        text,
        "  {name}: technical error {:.1}{unit}, two casts differ by less than {:.1}{unit} in 95 % of cases; ICC(1,1) {value:.2} ({low95:.2} to {high95:.2}) of {} feet",
        repeats.technical_error, repeats.coefficient, repeats.icc.targets
    );
}
