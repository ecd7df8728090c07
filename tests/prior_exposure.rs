//! Exposure and common causes against plain enumeration of every combination of faults.

use proptest::prelude::*;
use whichsocket::faultmap::raw::Class;
use whichsocket::prior::common::{CommonCause, CommonError, CommonTable};
use whichsocket::prior::exposure::{
    self, COMPLAINT_LEAK, Exposure, ExposureError, FAULTS_CAME_IN_FAULTY, Rate, solve,
};
use whichsocket::sheet::Intake;

/// A unit as its modes: class, then (failures per million hours, notice) of each mode.
type Unit = (Class, Vec<(f64, f64)>);

/// E[N] or E[N | complaint] by walking through every setting and every choice of one mode or none in every unit.
fn enumerate(units: &[Unit], common: &CommonTable, x: f64, complaint: bool) -> f64 {
    fn walk(units: &[Unit], factors: &[f64], x: f64, weight: f64, silent: f64, n: f64) -> [f64; 4] {
        let Some(((_, modes), rest)) = units.split_first() else {
            let loud = 1.0 - silent;
            return [weight, weight * n, weight * loud, weight * loud * n];
        };
        let total: f64 = modes.iter().map(|m| m.0).sum::<f64>() * factors[0];
        let fails = 1.0 - (-x * total).exp();
        let mut sum = walk(rest, &factors[1..], x, weight * (1.0 - fails), silent, n);
        for (rate, notice) in modes {
            let p = fails * rate * factors[0] / total;
            let more = walk(
                rest,
                &factors[1..],
                x,
                weight * p,
                silent * (1.0 - notice),
                n + 1.0,
            );
            sum.iter_mut().zip(more).for_each(|(s, m)| *s += m);
        }
        sum
    }
    let mut sum = [0.0; 4];
    for setting in common.settings() {
        let factors: Vec<f64> = units.iter().map(|u| common.factor(setting, u.0)).collect();
        let part = walk(
            units,
            &factors,
            x,
            common.probability(setting),
            1.0 - COMPLAINT_LEAK,
            0.0,
        );
        sum.iter_mut().zip(part).for_each(|(s, m)| *s += m);
    }
    assert!(
        (sum[0] - 1.0).abs() < 1e-12,
        "the worlds do not add up: {}",
        sum[0]
    );
    if complaint { sum[3] / sum[2] } else { sum[1] }
}

fn rates(units: &[Unit]) -> Vec<Rate> {
    units
        .iter()
        .map(|(class, modes)| Rate::of_modes(*class, modes))
        .collect()
}

fn small_machine() -> Vec<Unit> {
    vec![
        (Class::Memory, vec![(0.03, 0.9), (0.0168, 0.4)]),
        (Class::Memory, vec![(0.03, 0.9), (0.0168, 0.4)]),
        (Class::Processor, vec![(0.9, 1.0)]),
        (
            Class::InterfaceAdapter,
            vec![(0.1, 0.95), (0.1, 0.3), (0.06, 0.0)],
        ),
        (Class::Contact, vec![(0.002, 0.7)]),
        (Class::Sound, vec![(0.2, 0.6), (0.1, 0.5)]),
        (Class::Supply, vec![(0.3, 1.0)]),
    ]
}

#[test]
fn the_solved_exposure_gives_the_stated_figure_by_enumeration() {
    let units = small_machine();
    for common in [CommonTable::none(), CommonTable::shipped()] {
        for complaint in [false, true] {
            for target in [0.05, 0.6, FAULTS_CAME_IN_FAULTY, 3.0] {
                let found = solve(&rates(&units), &common, target, complaint).unwrap();
                let plain = enumerate(&units, &common, found.million_hours, complaint);
                assert!(
                    (plain - target).abs() < 1e-9,
                    "{target} {complaint}: {plain}"
                );
                assert!((found.faults - target).abs() < 1e-9);
            }
        }
    }
}

#[test]
fn a_complaint_needs_less_exposure_for_the_same_figure() {
    let (units, common) = (rates(&small_machine()), CommonTable::shipped());
    let without = solve(&units, &common, 1.0, false).unwrap();
    let with = solve(&units, &common, 1.0, true).unwrap();
    assert!(with.million_hours < without.million_hours);
}

#[test]
fn more_faults_need_more_exposure() {
    let (units, common) = (rates(&small_machine()), CommonTable::shipped());
    for complaint in [false, true] {
        let mut last = 0.0;
        for k in 1..60 {
            let found = solve(&units, &common, f64::from(k) * 0.1, complaint).unwrap();
            assert!(found.million_hours > last, "at {}", f64::from(k) * 0.1);
            last = found.million_hours;
        }
    }
}

#[test]
fn units_that_surely_fail_and_are_surely_noticed() {
    // At such an exposure 1 - p n is exactly 0 for the first two; the formula must not divide by it.
    let units = vec![
        (Class::Fuse, vec![(1e6, 1.0)]),
        (Class::Fuse, vec![(1e6, 1.0)]),
        (Class::Sound, vec![(0.1, 0.5)]),
    ];
    let formula = exposure::expected_faults(&rates(&units), &CommonTable::none(), 1.0, true);
    let plain = enumerate(&units, &CommonTable::none(), 1.0, true);
    assert!((formula - plain).abs() < 1e-12, "{formula} {plain}");
    let one = &units[1..];
    let formula = exposure::expected_faults(&rates(one), &CommonTable::none(), 1.0, true);
    assert!((formula - enumerate(one, &CommonTable::none(), 1.0, true)).abs() < 1e-12);
}

#[test]
fn probabilities_follow_the_exposure() {
    let e = Exposure {
        million_hours: 0.25,
        faults: 1.0,
    };
    assert!((e.probability(0.0468, 1.0) - (1.0 - (-0.0117f64).exp())).abs() < 1e-15);
    let exact = 1.0 - (-0.0117f64 * 25.0).exp();
    assert!((e.probability(0.0468, 25.0) - exact).abs() < 1e-15);
}

#[test]
fn what_cannot_be_reached_is_refused() {
    let common = CommonTable::none();
    let two = [Rate {
        per_million: 1.0,
        notice: 0.5,
        class: Class::Logic,
    }; 2];
    for target in [0.0, -1.0, 2.0, f64::NAN] {
        let refused = solve(&two, &common, target, true);
        assert!(
            matches!(refused, Err(ExposureError::Target { units: 2, .. })),
            "{target}"
        );
    }
    let idle = [Rate {
        per_million: 0.0,
        notice: 0.5,
        class: Class::Logic,
    }];
    assert!(matches!(
        solve(&idle, &common, 0.5, false),
        Err(ExposureError::Target { units: 0, .. })
    ));
    let wrong = [Rate {
        per_million: 1.0,
        notice: 1.5,
        class: Class::Logic,
    }];
    assert!(matches!(
        solve(&wrong, &common, 0.5, false),
        Err(ExposureError::Rate { index: 0, .. })
    ));
}

/// Faulty units of each of the 27 counted repairs, in the order of the list.
const COUNTED: [u32; 27] = [
    1, 2, 1, 3, 1, 1, 4, 7, 1, 2, 2, 2, 1, 1, 2, 1, 1, 1, 1, 1, 2, 4, 1, 3, 1, 1, 1,
];

#[test]
fn the_figure_for_came_in_faulty_is_the_counted_mean() {
    let mean = f64::from(COUNTED.iter().sum::<u32>()) / COUNTED.len() as f64;
    let stated = exposure::expectation(Intake::Faulty);
    assert!(stated.complaint && (stated.faults - mean).abs() < 1e-12);
    assert_eq!(COUNTED.iter().filter(|n| **n > 1).count(), 11);
    let untested = exposure::expectation(Intake::Untested);
    let works = exposure::expectation(Intake::Works);
    assert!(stated.faults > untested.faults && untested.faults > works.faults);
    assert!(!untested.complaint && !works.complaint);
}

#[test]
fn settings_are_a_distribution_with_mean_one() {
    let t = CommonTable::shipped();
    assert_eq!(t.causes().len(), 4);
    assert_eq!(t.settings().len(), 16);
    let sum: f64 = t.settings().map(|s| t.probability(s)).sum();
    assert!((sum - 1.0).abs() < 1e-12);
    for (k, cause) in t.causes().iter().enumerate() {
        let marginal: f64 = t
            .settings()
            .filter(|s| s >> k & 1 == 1)
            .map(|s| t.probability(s))
            .sum();
        assert!((marginal - cause.prior).abs() < 1e-12);
        assert!(!cause.source.is_empty());
    }
    // Relative to the mean: the common causes tie units together without making them fail more often.
    for class in [Class::Memory, Class::Contact, Class::Sound, Class::Setting] {
        let mean: f64 = t
            .settings()
            .map(|s| t.probability(s) * t.factor(s, class))
            .sum();
        assert!((mean - 1.0).abs() < 1e-12, "{class:?}");
    }
    // Two causes that strike the same class count as the worse of them.
    let worse = t
        .factor(0b01, Class::Memory)
        .max(t.factor(0b10, Class::Memory));
    assert!((t.factor(0b11, Class::Memory) - worse).abs() < 1e-12);
    assert!(t.factor(0b0100, Class::Contact) > t.factor(0, Class::Contact));
    assert!((t.factor(0b0100, Class::Sound) - t.factor(0, Class::Sound)).abs() < 1e-15);
}

#[test]
fn bad_tables_are_refused() {
    let cause = |prior, factors| CommonCause {
        id: "x",
        what: "x",
        prior,
        factors,
        source: "guess",
    };
    let five = vec![cause(0.1, vec![]); 5];
    assert_eq!(CommonTable::new(five), Err(CommonError::TooMany(5)));
    let prior = CommonTable::new(vec![cause(1.5, vec![])]);
    assert!(matches!(prior, Err(CommonError::Prior { .. })));
    for factors in [
        vec![(Class::Rom, 0.0)],
        vec![(Class::Rom, 2.0), (Class::Rom, 3.0)],
    ] {
        let refused = CommonTable::new(vec![cause(0.1, factors)]);
        assert!(matches!(
            refused,
            Err(CommonError::Factor {
                class: Class::Rom,
                ..
            })
        ));
    }
    let shipped = CommonTable::shipped().causes().to_vec();
    assert_eq!(CommonTable::new(shipped), Ok(CommonTable::shipped()));
}

fn unit() -> impl Strategy<Value = Unit> {
    let class = prop_oneof![
        Just(Class::Memory),
        Just(Class::Contact),
        Just(Class::Processor),
        Just(Class::Setting)
    ];
    (
        class,
        prop::collection::vec((1e-4..2.0f64, 0.0..=1.0f64), 1..4),
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_small_machine_by_enumeration(
        units in prop::collection::vec(unit(), 1..6),
        x in 1e-6..50.0f64,
        complaint: bool,
    ) {
        for common in [CommonTable::none(), CommonTable::shipped()] {
            let formula = exposure::expected_faults(&rates(&units), &common, x, complaint);
            let plain = enumerate(&units, &common, x, complaint);
            prop_assert!((formula - plain).abs() < 1e-9, "{formula} {plain}");
        }
    }
}
