//! What was cleaned, pushed home or made anew since: it explains what was read before, and need not be at fault now. And legs
//! that touch nothing.

use whichsocket::next;
use whichsocket::rank::{Ranking, rank};
use whichsocket::report::build::{Wanted, view};
use whichsocket::report::term;
use whichsocket::sheet::{RunSheet, parse};
use whichsocket::shipped::Library;

const BOARD: &str = "dunlin-64";

/// The keys of one line of the matrix, which come in through pin 4 of the keyboard plug.
const COLUMN: &str = "board dunlin-64\ncame in faulty\npicture normal\nrail 5V 5.03 V\nrail 12V 12.01 V\nrail 9VAC 9.2 V\n\
                      key E dead\nkey F dead\nkey R dead\nkey V dead\nkey 4 dead\nkey F3 dead\nkey C dead\n\
                      swapped KEYBOARD: no change\nswapped A1: no change\n";

fn sheet(text: &str) -> RunSheet {
    let sheet = parse("test", text.as_bytes()).unwrap();
    assert!(
        sheet.lines.iter().all(|l| l.not_understood.is_none()),
        "not understood: {text}"
    );
    sheet
}

fn ranked(text: &str) -> Ranking {
    let model = Library::default().board(BOARD).unwrap();
    rank(&model, &[sheet(text)]).unwrap()
}

/// P(was at fault) and P(is still) of a unit.
fn of(r: &Ranking, name: &str) -> (f64, f64) {
    let found = r.suspects.iter().find(|s| s.name == name);
    let cause = found.and_then(|s| r.assembled.cause_of(s.instance));
    cause.map_or((0.0, 0.0), |c| (r.posterior.cause(c), r.still(c)))
}

#[test]
fn what_was_cleaned_is_left_with_what_cleaning_leaves() {
    let before = ranked(COLUMN);
    let (was, still) = of(&before, "J3 pin 4");
    assert!(was > 0.7 && was == still, "{was} {still}");
    // Nothing was read since: one in ten stays as it was (`CLEAN_FAILS`), whatever else the sheet says.
    let after = ranked(&format!("{COLUMN}cleaned J3: changed\n"));
    let (was, still) = of(&after, "J3 pin 4");
    assert!(was > 0.7, "{was}");
    assert!((still / was - 0.1).abs() < 1e-9, "{still} of {was}");
    // Twice: one in a hundred.
    let twice = ranked(&format!(
        "{COLUMN}cleaned J3: changed\ncleaned J3: changed\n"
    ));
    let (was, still) = of(&twice, "J3 pin 4");
    assert!((still / was - 0.01).abs() < 1e-9, "{still} of {was}");
}

#[test]
fn what_is_read_afterwards_tells_whether_cleaning_helped() {
    let run = |results: &str| {
        ranked(&format!(
            "{COLUMN}cleaned J3: changed\nnew run\n{results}\n"
        ))
    };
    let (was, still) = of(&run("key E fine\nkey F fine"), "J3 pin 4");
    assert!(was > 0.9 && still < 0.005, "{was} {still}");
    let (was, still) = of(&run("key E dead\nkey F dead\nkey R dead"), "J3 pin 4");
    assert!(still > 0.3 * was, "{was} {still}");
}

/// A fault that was put right stands in nobody's way: the step is for what is left, not for the same plug once more.
#[test]
fn the_next_step_is_for_what_is_left() {
    let text =
        format!("{COLUMN}memory bit 0 bad\ncleaned J3: changed\nnew run\nmemory bit 0 bad\n");
    let model = Library::default().board(BOARD).unwrap();
    let r = rank(&model, &[sheet(&text)]).unwrap();
    let steps = next::steps(&model, &r);
    assert!(steps.len() > 1, "{steps:?}");
    let again = steps.iter().find(|s| s.r#where.starts_with("J3"));
    assert!(again.is_none(), "{again:?}");
    let expected = steps.iter().flat_map(|s| &s.outcomes).flat_map(|o| &o.then);
    let units: Vec<&str> = expected.map(|t| t.unit.as_str()).collect();
    assert_eq!(units.first(), Some(&"M0"), "{units:?}");
}

#[test]
fn a_report_says_what_became_of_a_suspect() {
    let model = Library::default().board(BOARD).unwrap();
    let sheets = [sheet(&format!("{COLUMN}cleaned J3: changed\n"))];
    let r = rank(&model, &sheets).unwrap();
    let wanted = Wanted {
        why: false,
        top: 5,
        slips: false,
    };
    let text = term::ranking(&view(&model, &sheets, &r, wanted), false);
    assert!(
        text.contains("was worked at since; still at fault: about 1 in 1"),
        "{text}"
    );
}

/// A leg that floats while its line moves elsewhere touches nothing, whatever the chip in it is accused of; one that moves with
/// its line touches it, unless it moves by itself.
#[test]
fn a_leg_that_floats_alone_accuses_its_contacts() {
    let come =
        "board dunlin-64\ncame in faulty\npicture normal\nmemory bit 0 bad\nmemory bits 1-7 fine\n";
    let of_contacts = |more: &str| of(&ranked(&format!("{come}{more}")), "M0 contacts").0;
    let nothing = of_contacts("");
    let open = of_contacts("M1.6 pulsing\nM0.6 floating\n");
    assert!(open > 8.0 * nothing, "{nothing} {open}");
    let moves = of_contacts("M0.6 pulsing\n");
    assert!(moves < nothing, "{nothing} {moves}");
    // What floats at another chip says nothing of this one.
    let other = of_contacts("M0.6 pulsing\nM1.6 floating\n");
    assert!(other < 2.0 * nothing, "{nothing} {other}");
}

/// A machine that does nothing, with its rails good.
const DARK: &str = "board 64k-6510-wide\ncame in faulty\nrail 5V 5.0 V\nrail 9VAC 9.2 V\nrail 12V 12.0 V\nblack screen\n";

fn dark(more: &str) -> Ranking {
    let model = Library::default().board("64k-6510-wide").unwrap();
    rank(&model, &[sheet(&format!("{DARK}{more}"))]).unwrap()
}

/// A board between a chip and its socket is a second row of contacts: those of the position are the more probable, no others.
#[test]
fn an_added_board_is_more_contacts() {
    let contacts = |more: &str| of(&dark(more), "U4 contacts").0;
    let (none, with) = (contacts(""), contacts("added board in U4\n"));
    assert!(with > 4.0 * none && with < 6.0 * none, "{none} {with}");
    let other = of(&dark("added board in U4\n"), "U3 contacts").0;
    assert!(other <= of(&dark(""), "U3 contacts").0 + 1e-9, "{other}");
    // Without it the machine runs: it was that, more surely than where the chip was only taken out and put back, and is gone.
    let cured = dark("added board in U4\ntook the added board out of U4: starts\n");
    let (was, still) = of(&cured, "U4 contacts");
    assert_eq!(cured.suspects[0].name, "U4 contacts");
    assert!(still < 0.05 * was, "{was} {still}");
    let odds = |p: f64| p / (1.0 - p);
    let reseated = contacts("reseated U4: cured\n");
    assert!(odds(was) > 5.0 * odds(reseated), "{was} {reseated}");
    // With the chip in its socket as dead as before it was not.
    let same = contacts("added board in U4\ntook the added board out of U4: no change\n");
    assert!(same < with / 3.0, "{same} {with}");
    // Who takes one out says that there was one.
    let untold = contacts("took the added board out of U4: no change\n");
    assert!((untold - same).abs() < 1e-9, "{untold} {same}");
    // The next run tells as well, and the chip itself is not cleared as by a swap.
    let ran =
        dark("added board in U4\ntook added board out of U4\nnew run\npicture ok\nmemory ok\n");
    assert!(of(&ran, "U4 contacts").0 > 5.0 * with);
    let chip = of(
        &dark("added board in U4\ntook added board out of U4: no change\n"),
        "U4",
    )
    .0;
    assert!(chip >= of(&dark(""), "U4").0, "{chip}");
}

/// The report names the board that was added.
#[test]
fn an_added_board_is_told_of() {
    let model = Library::default().board("64k-6510-wide").unwrap();
    let told = |more: &str| {
        let sheets = [sheet(&format!("{DARK}added board in U4\n{more}"))];
        let r = rank(&model, &sheets).unwrap();
        let wanted = Wanted {
            why: false,
            top: 500,
            slips: false,
        };
        let v = view(&model, &sheets, &r, wanted);
        let at = v.suspects.iter().find(|s| s.unit == "U4 contacts");
        let role = at.map(|s| s.role.clone()).unwrap_or_default();
        (role, v.facts_used.join("; "))
    };
    let (role, facts) = told("");
    assert!(
        role.ends_with("an added board sits between it and its socket"),
        "{role}"
    );
    assert!(facts.contains("an added board sits in U4"), "{facts}");
    let (role, facts) = told("took the added board out of U4: no change\n");
    assert!(
        role.ends_with("an added board sat between it and its socket"),
        "{role}"
    );
    assert!(
        facts.contains("the added board of U4 was taken out"),
        "{facts}"
    );
}
