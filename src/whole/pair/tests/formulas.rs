//! The formulas of `fusion`, by numbers worked out apart from them in double precision.

extern crate std;
use super::tests::{at, part};
use super::*;

/// One part whose noise has this variance.
fn sure(glucose: f32, variance: f32) -> Part {
    Part { variance, ..part(glucose) }
}

/// Offsets of 4 and -6, some of them known.
fn known(usual: f32) -> Fusion {
    Fusion { offsets: [4.0, -6.0], p: [100.0, 20.0, 64.0], usual, at: at(0), ..Fusion::new() }
}

#[track_caller]
fn near<const N: usize>(told: [f32; N], want: [f32; N]) {
    for (told_one, want_one) in told.iter().zip(want) {
        assert!((told_one - want_one).abs() <= 2e-4 * want_one.abs().max(1.0), "{told:?} for {want:?}");
    }
}

fn fused(fusion: &Fusion, one: Part, two: Part) -> [f32; 4] {
    let Fused { glucose, variance, offset_variance, share } = fusion.fused(&[Some(one), Some(two)]).unwrap();
    [glucose, variance, offset_variance, share]
}

#[test]
fn two_that_agree_are_one_by_least_variance() {
    let told = fused(&known(1.0), sure(130.0, 36.0), sure(118.0, 25.0));
    near(told, [124.69677, 21.79491, 48.39226, 0.348387]);
}

#[test]
fn what_they_are_apart_by_is_doubt_on_the_one_that_errs() {
    let (one, two) = (Part { against: 0.7, ..sure(180.0, 36.0) }, Part { against: 0.2, ..sure(120.0, 25.0) });
    near(fused(&known(2.0), one, two), [141.13505, 476.35131, 48.72417, 0.3027009]);
    // by how much rarer 116 is than 186 and more: half of the square of 0.3
    let (one, two) =
        (Part { against: 0.055, ..sure(120.0, 36.0) }, Part { against: 0.4, ..sure(180.0, 25.0) });
    near(fused(&known(2.0), one, two), [142.87984, 1129.27644, 56.84469, 0.616002]);
    // and what was learned before speaks too
    let known = Fusion { sudden: 0.3, sticks: 0.2, ..known(2.0) };
    near(fused(&known, sure(180.0, 36.0), sure(120.0, 25.0)), [141.13505, 476.35131, 48.72417, 0.3027009]);
    let Between { gap, z, beyond } = known.between(&sure(180.0, 36.0), &sure(120.0, 25.0));
    near([gap, z, beyond], [50.0, 2.839809, 2166.82846]);
}

#[test]
fn one_alone_is_itself_without_its_offset() {
    let fusion = known(1.0);
    let told = |parts| fusion.fused(&parts).map(|f| [f.glucose, f.variance, f.offset_variance, f.share]);
    assert_eq!(told([Some(sure(130.0, 36.0)), None]), Some([126.0, 36.0, 100.0, 1.0]));
    assert_eq!(told([None, Some(sure(118.0, 25.0))]), Some([124.0, 25.0, 64.0, 0.0]));
    assert_eq!(told([None, None]), None);
    // nothing known yet: as its calibration
    let mut new = Fusion::new();
    new.begin(&[Some(sure(130.0, 36.0)), None]);
    let new = new.fused(&[Some(sure(130.0, 36.0)), None]).unwrap();
    assert_eq!((new.glucose, new.offset_variance), (130.0, 600.0));
}

#[test]
fn one_that_stands_still_while_the_other_moves_errs_more_likely() {
    let fusion = known(1.0);
    let odds = |one: (f32, f32, bool), two: (f32, f32, bool)| {
        let of = |(still, rate, ends)| Part { still, rate, ends, ..part(160.0) };
        fusion.odds(&of(one), &of(two))
    };
    // a fifth of what the other moves meanwhile, mg/dL
    near([odds((15.0, 0.0, false), (0.0, 0.5, false))], [1.5]);
    near([odds((15.0, 0.0, false), (0.0, -0.5, false))], [1.5]);
    near([odds((0.0, 0.8, false), (15.0, 0.0, false))], [-2.4]);
    near(
        [odds((14.0, 0.0, false), (0.0, 0.5, false)), odds((13.9, 0.0, false), (0.0, 0.5, false))],
        [1.4, 0.0],
    );
    near(
        [odds((60.0, 0.0, false), (0.0, 2.0, false)), odds((60.0, 0.0, true), (0.0, 2.0, false))],
        [4.0, 2.0],
    );
    near([odds((60.0, 2.0, false), (60.0, 2.0, false))], [0.0]);
    // and what was sudden in the other may be the person's: as much less of it counts
    let sudden = |sudden: f32| {
        let of = |still: f32, rate: f32| Part { still, rate, ..part(160.0) };
        Fusion { sudden, ..fusion }.odds(&of(15.0, 0.0), &of(0.0, 0.5))
    };
    near([sudden(-4.0), sudden(-1.0), sudden(1.0)], [-1.0, 1.5, 2.5]);
    // and no odds are surer than 8
    let far = Fusion { sudden: 8.0, sticks: 8.0, ..fusion };
    assert_eq!(far.odds(&part(120.0), &part(120.0)), 8.0);
    let far = Fusion { sudden: -8.0, sticks: -8.0, ..fusion };
    assert_eq!(far.odds(&part(120.0), &part(120.0)), -8.0);
}

#[test]
fn with_time_all_goes_back_to_what_calibrations_say() {
    for (open, sudden) in [(false, 0.023487), (true, 1.740649)] {
        let mut fusion = Fusion { open, sudden: 2.0, sticks: 1.5, ..known(1.3) };
        fusion.step(at(200), &[Some(sure(130.0, 36.0)), None], None);
        let [o1, o2] = fusion.offsets();
        near([o1, o2], [3.9601993, -5.940299]);
        near(fusion.p, [109.900663, 19.603973, 64.0]);
        near([fusion.sudden, fusion.sticks, fusion.usual], [sudden, 1.136198, 1.3]);
        assert_eq!((fusion.at, fusion.open), (at(200), false));
    }
    // never back
    let mut fusion = known(1.3);
    fusion.at = at(10);
    fusion.step(at(0), &[Some(sure(130.0, 36.0)), None], None);
    assert_eq!(fusion.offsets(), [4.0, -6.0]);
}

#[test]
fn one_measures_the_other() {
    for (minutes, glucose, offsets, p, usual) in [
        (5, 140.0, [4.209105, -6.11428], [98.844982, 20.764215, 63.791309], 1.19905),
        (60, 140.0, [5.995842, -7.110898], [89.119678, 27.679326, 62.223307], 1.187491),
        (700, 140.0, [10.163231, -9.887929], [75.023588, 56.843083, 68.656863], 1.148952),
        (5, 230.0, CLIPPED, [98.857043, 20.757569, 63.794971], 1.209722),
    ] {
        let mut fusion = known(1.2);
        let (one, two) = (sure(glucose, 36.0), Part { calibration_variance: 500.0, ..sure(118.0, 25.0) });
        fusion.step(at(minutes), &[Some(one), Some(two)], None);
        near(fusion.offsets(), offsets);
        near(fusion.p, p);
        near([fusion.usual], [usual]);
    }
    // no time, nothing learned; nor while one is named
    for (minutes, named) in [(0, None), (5, Some(Side::First))] {
        let mut fusion = Fusion { named, open: true, ..known(1.2) };
        fusion.step(at(minutes), &[Some(sure(165.0, 36.0)), Some(sure(118.0, 25.0))], None);
        assert_eq!((fusion.named, fusion.usual), (named, 1.2));
        assert!(fusion.p[1] < 20.0 + 1e-3);
    }
    // what is usual stays within its bounds
    for (gap, usual) in [(0.0, USUAL_LEAST), (400.0, 4.0)] {
        let mut fusion = known(1.0);
        for minute in 1..20_000 {
            fusion.offsets = [0.0; 2];
            fusion.p = [100.0, 20.0, 64.0];
            fusion.step(at(minute), &[Some(sure(100.0 + gap, 36.0)), Some(sure(100.0, 25.0))], None);
        }
        near([fusion.usual], [usual]);
    }
}

/// The offsets after a difference beyond three deviations.
const CLIPPED: [f32; 2] = [4.710180, -6.390402];

#[test]
fn one_alone_is_known_as_well_as_its_calibration_or_its_offset() {
    for (calibration_variance, left_open) in
        [(60.0, [60.0, 60.0]), (80.0, [80.0, 64.0]), (600.0, [100.0, 64.0])]
    {
        let one = Part { calibration_variance, ..part(124.0) };
        let of = |parts| known(1.0).fused(&parts).unwrap().offset_variance;
        assert_eq!([of([Some(one), None]), of([None, Some(one)])], left_open);
    }
}

#[test]
fn a_fingerstick_measures_both() {
    let told = |one: Part, two: Part, glucose: f32| {
        let mut fusion = known(1.0);
        fusion.fingerstick(&[Some(one), Some(two)], [0.0; 2], glucose, 7.0);
        let ([o1, o2], [p11, p12, p22]) = (fusion.offsets(), fusion.p);
        [fusion.sticks, o1, o2, p11, p12, p22]
    };
    let by = told(sure(150.0, 36.0), sure(118.0, 25.0), 110.0);
    near(by, [0.938081, 9.040796, -3.615475, 86.575275, 15.480684, 56.411682]);
    let by = told(sure(128.0, 36.0), sure(170.0, 25.0), 140.0);
    near(by, [-0.682159, 3.136552, -5.386906, 92.954389, 18.187026, 62.255002]);
    let by = told(sure(300.0, 36.0), sure(118.0, 25.0), 110.0);
    near(by, [4.315108, 5.120824, -4.260082, 98.944762, 17.611578, 56.532966]);
    // far from both it says little of either
    let by = told(sure(190.0, 36.0), sure(190.0, 25.0), 110.0);
    near(by, [0.0, 4.288126, -5.782645, 99.678415, 19.898631, 63.860816]);
    let mut fusion = known(1.0);
    fusion.sticks = 7.9;
    fusion.fingerstick(&[Some(sure(300.0, 36.0)), Some(sure(118.0, 25.0))], [0.0; 2], 110.0, 7.0);
    assert_eq!(fusion.sticks, 8.0);
}

/// The offsets that calibrations leave, by how far they moved the estimates for a fingerstick that agrees with both, or with the
/// one that took it.
fn moved(took: [bool; 2], offsets: [f32; 2], moved: [f32; 2]) -> [f32; 2] {
    // nothing but the calibrations moves them
    let mut fusion = Fusion { offsets, p: [0.0; 3], ..known(1.0) };
    let parts = [part(124.0 + offsets[0]), part(124.0 + offsets[1])].map(Some);
    let parts = [parts[0].filter(|_| took[0]), parts[1].filter(|_| took[1])];
    fusion.fingerstick(&parts, moved, 124.0, 7.0);
    fusion.offsets()
}

#[test]
fn what_one_alone_is_off_by_is_for_its_calibration_to_say() {
    let lone = [true, false];
    // the calibration takes over what the offset said, and no more
    for (by, left) in [(-1.0, 3.0), (-9.0, 0.0), (5.0, 4.0), (0.0, 4.0)] {
        near(moved(lone, [4.0, -6.0], [by, 0.0]), [left, -6.0]);
    }
    for (by, left) in [(2.0, -4.0), (9.0, 0.0), (-3.0, -6.0)] {
        near(moved([false, true], [4.0, -6.0], [0.0, by]), [4.0, left]);
    }
    near(moved(lone, [0.0; 2], [-20.0, 0.0]), [0.0; 2]);
    // nor does the fingerstick itself lead further away: what it tells of the other brings that one back
    let mut fusion = known(1.0);
    fusion.fingerstick(&[Some(sure(150.0, 36.0)), None], [0.0; 2], 110.0, 7.0);
    let ([o1, o2], [p11, p12, p22]) = (fusion.offsets(), fusion.p);
    near([fusion.sticks, o1, o2, p11, p12, p22], [0.0, 4.0, -5.602476, 94.478837, 18.895767, 63.779153]);
    // and it takes back what no longer holds: half of it in three, however often all
    let mut fusion = Fusion { offsets: [0.0, -20.0], p: [300.0, 0.0, 300.0], ..known(1.0) };
    let mut left = std::vec::Vec::new();
    for _ in 0..20 {
        fusion.fingerstick(&[None, Some(part(124.0))], [0.0; 2], 124.0, 7.0);
        left.push(fusion.offsets()[1]);
    }
    assert!(left[2] > -12.0 && left[19] > -4.0 && left[19] <= 0.0, "{left:?}");
}

#[test]
fn two_are_off_alike_by_no_more_than_eight() {
    let both = |offsets, by| moved([true; 2], offsets, by);
    near(both([0.0; 2], [20.0, 15.0]), [13.0, 8.0]);
    near(both([0.0; 2], [-20.0, -15.0]), [-13.0, -8.0]);
    near(both([0.0; 2], [6.0, 8.0]), [6.0, 8.0]);
    near(both([4.0, -6.0], [30.0, -20.0]), [34.0, -26.0]);
    // whatever fingersticks say while both read too high
    let mut fusion = Fusion { offsets: [0.0; 2], p: [600.0, 300.0, 600.0], ..known(1.0) };
    for _ in 0..3 {
        fusion.fingerstick(&[Some(part(164.0)), Some(part(158.0))], [0.0; 2], 124.0, 7.0);
    }
    let [first, second] = fusion.offsets();
    near([first.min(second)], [8.0]);
    assert!((8.5..14.0).contains(&first), "{first}");
}

#[test]
fn fingersticks_deny_for_half_an_hour_and_not_again_for_two_hours() {
    let parts = [Some(part(200.0)), Some(part(120.0))];
    let mut fusion = Fusion { offsets: [0.0; 2], named: Some(Side::First), ..known(1.0) };
    let mut denied = [0; 4];
    for minute in 0..180 {
        fusion.at = at(minute);
        if minute % 20 == 0 {
            fusion.fingerstick(&parts, [0.0; 2], 120.0, 7.0);
        }
        fusion.offsets = [0.0; 2];
        fusion.p = [100.0, 20.0, 64.0];
        denied[minute as usize / 60] += u32::from(fusion.denied(at(minute)) == Some(Side::First));
    }
    assert_eq!(denied, [30, 0, 30, 0]);
}

#[test]
fn one_that_is_named_is_likelier_to_err_as_by_its_own_reasons() {
    let of = |named, against: f32| {
        let fusion = Fusion { named, ..known(1.0) };
        fused(&fusion, Part { against, ..sure(160.0, 36.0) }, sure(114.0, 25.0))
    };
    near(of(Some(Side::First), 0.0), of(None, NAMED));
    near(of(Some(Side::Second), 0.0), of(None, -NAMED));
    assert!(of(None, NAMED)[3] < of(None, 0.0)[3] - 0.1);
}

/// What a reading `z` deviations from its own past, of one side, adds to the odds, beside another that reads an end of its range or does not.
fn told(side: Side, z: f32, other_ends: bool) -> f32 {
    let mut fusion = known(1.0);
    let mut parts = [Some(part(124.0)), Some(part(114.0))];
    if let Some(other) = side.other().of_mut(&mut parts) {
        other.ends = other_ends;
    }
    fusion.step(at(0), &parts, Some((side, z)));
    fusion.sudden
}

#[test]
fn a_sudden_departure_speaks_against_the_one_that_departs() {
    let (one, two) = (Side::First, Side::Second);
    near([told(one, 3.5, false), told(two, 3.5, false)], [0.68, -0.68]);
    near([told(one, -3.5, false), told(one, 3.2, false), told(one, 6.0, false)], [0.68, 0.0, 4.5]);
    // beside one at the end of its range more is asked for
    near([told(one, 4.9, true), told(one, 5.5, true), told(two, -5.5, true)], [0.0, 2.625, -2.625]);
    // while one is named and they are apart it is known already
    let after = |named, apart| {
        let mut fusion = Fusion { named, apart, open: true, sudden: 1.0, ..known(1.0) };
        fusion.step(at(0), &[Some(part(124.0)), Some(part(114.0))], Some((one, 3.5)));
        fusion.sudden
    };
    let apart = Some((at(0), at(0).plus(APART_SPAN)));
    near([after(Some(two), apart), after(None, apart), after(Some(two), None)], [1.0, 1.68, 1.68]);
    // alone, too, it is told, within the surest odds
    let mut fusion = Fusion { sudden: 6.0, ..known(1.0) };
    fusion.step(at(0), &[Some(part(124.0)), None], Some((one, 9.0)));
    assert_eq!(fusion.sudden, 8.0);
    let mut fusion = Fusion { sudden: -6.0, ..known(1.0) };
    fusion.step(at(0), &[None, Some(part(124.0))], Some((two, 9.0)));
    assert_eq!(fusion.sudden, -8.0);
}

#[test]
fn only_what_fingersticks_say_of_the_named_one_denies_it() {
    let told = at(0);
    let denied = |named, sticks| Fusion { named, sticks, told, ..Fusion::new() }.denied(at(29));
    let (one, two) = (Side::First, Side::Second);
    assert_eq!([1.1, 1.0, -1.1].map(|sticks| denied(Some(one), sticks)), [Some(one), None, None]);
    assert_eq!([1.1, -1.0, -1.1].map(|sticks| denied(Some(two), sticks)), [None, None, Some(two)]);
    assert_eq!(denied(None, 8.0), None);
    // for half an hour
    assert_eq!(Fusion { named: Some(one), sticks: 8.0, told, ..Fusion::new() }.denied(at(30)), None);
}

#[test]
fn what_was_open_when_one_fell_silent_stays_so_until_it_passes_or_a_fingerstick_agrees() {
    let (one, two) = (Side::First, Side::Second);
    let apart = Some((at(0), at(30)));
    let open = Fusion { apart, open: true, ..known(1.0) };
    let alone = |fusion: Fusion, minute: u32| {
        let mut fusion = Fusion { at: at(minute), ..fusion };
        fusion.step(at(minute), &[Some(part(124.0)), None], None);
        [fusion.is_open_against(one), fusion.is_open_against(two)]
    };
    // apart, and nothing tells which: for two hours
    assert_eq!((alone(open, 149), alone(open, 150)), ([true; 2], [false; 2]));
    // if they were for longer than a value stands
    assert_eq!(alone(Fusion { apart: Some((at(1), at(30))), ..open }, 40), [false; 2]);
    // one is named: while what told it speaks against it
    let named = |named, sudden, sticks| Fusion { named: Some(named), sudden, sticks, ..open };
    assert_eq!(alone(named(one, 1.6, 0.0), 140), [true, false]);
    // where no more than a low told which it is of either
    assert_eq!([alone(named(one, 1.4, 0.0), 140), alone(named(two, 0.0, 0.0), 140)], [[true; 2]; 2]);
    assert_eq!(alone(named(one, 2.5, -2.6), 140), [false; 2]);
    assert_eq!(alone(named(one, 1.0, 0.6), 140), [true, false]);
    assert_eq!(alone(named(two, -1.6, 0.0), 140), [false, true]);
    assert_eq!(alone(named(two, 1.6, 0.0), 140), [false; 2]);
    // a fingerstick that agrees with the one that is left, and one that does not
    for (glucose, settled) in [(118.0, true), (190.0, false)] {
        let mut fusion = Fusion { at: at(40), ..named(one, 2.0, 0.0) };
        fusion.fingerstick(&[Some(part(124.0)), None], [0.0; 2], glucose, 7.0);
        assert_eq!((fusion.is_open_against(one), fusion.sudden == 0.0), (!settled, settled), "{glucose}");
    }
    // what is told of the one that is gone is known when it comes back
    let mut fusion = Fusion { at: at(40), ..named(two, -2.0, 0.0) };
    fusion.fingerstick(&[Some(part(124.0)), None], [0.0; 2], 118.0, 7.0);
    assert_eq!((fusion.named, fusion.sudden), (None, -2.0));
    // the other has just been read, and only the fingerstick did not suit it
    let mut fusion = Fusion { at: at(30), ..named(two, -2.0, 0.0) };
    fusion.fingerstick(&[Some(part(124.0)), None], [0.0; 2], 118.0, 7.0);
    assert_eq!((fusion.named, fusion.sudden), (Some(two), -2.0));
    assert!(!known(1.0).is_open_against(one));
}

/// After one step at minute 15, so far apart, by odds against the first one.
fn after(fusion: Fusion, gap: f32, against: f32) -> Fusion {
    let mut fusion = Fusion { at: at(15), ..fusion };
    let one = Part { against, ..sure(124.0 + gap, 36.0) };
    fusion.step(at(15), &[Some(one), Some(sure(114.0, 25.0))], None);
    fusion
}

#[test]
fn they_are_apart_by_deviations_or_by_a_difference_whose_side_is_clear() {
    // a deviation is the root of 155 here
    let deviation = 155.0_f32.sqrt();
    let fusion = known(1.0);
    assert!(after(fusion, 2.51 * deviation, 0.0).apart.is_some());
    assert!(after(fusion, 2.49 * deviation, 0.0).apart.is_none());
    assert!(after(fusion, -2.51 * deviation, 0.0).apart.is_some());
    // a fifth of the lower one, of 100 at least
    assert!(after(fusion, 23.5, 1.6).apart.is_some() && after(fusion, 23.5, 1.5).apart.is_none());
    assert!(after(fusion, 22.0, 1.6).apart.is_none() && after(fusion, -23.5, -2.1).apart.is_some());
    assert!(after(fusion, -23.5, 1.6).apart.is_some(), "whoever is higher");
    // that it reads low speaks against it: 96.5 for 120 by some 0.44
    assert!(after(fusion, -23.5, 1.1).apart.is_some() && after(fusion, -23.5, 1.0).apart.is_none());
    // once it matters it does so down to a tenth
    let begun = Fusion { apart: Some((at(0), at(9))), ..fusion };
    assert!(!begun.is_apart());
    assert!(after(begun, 12.5, 1.6).apart.is_some() && after(begun, 11.0, 1.6).apart.is_none());
    let low = |gap: f32| {
        let mut fusion = Fusion { offsets: [0.0; 2], at: at(5), ..fusion };
        let one = Part { against: 2.6, ..sure(80.0 + gap, 36.0) };
        fusion.step(at(5), &[Some(one), Some(sure(80.0, 25.0))], None);
        fusion.apart.is_some()
    };
    assert!(low(20.5) && !low(20.0));
    let mut ends = Fusion { at: at(5), ..fusion };
    let one = Part { against: 1.6, ends: true, ..sure(148.0, 36.0) };
    ends.step(at(5), &[Some(one), Some(sure(114.0, 25.0))], None);
    assert!(ends.apart.is_none(), "an end of the range is no difference");
    let mut ends = Fusion { at: at(5), ..fusion };
    let one = Part { against: 1.6, ..sure(148.0, 36.0) };
    ends.step(at(5), &[Some(one), Some(Part { ends: true, ..sure(114.0, 25.0) })], None);
    assert!(ends.apart.is_none());
    // since when, and until when
    let since = Fusion { apart: Some((at(0), at(3))), ..fusion };
    assert_eq!(after(since, 40.0, 0.0).apart, Some((at(0), at(15))));
    assert_eq!(after(fusion, 40.0, 0.0).apart, Some((at(15), at(15))));
    // and they agree again within less
    let long = Fusion { apart: Some((at(0), at(10))), open: true, named: Some(Side::Second), ..fusion };
    let (still, again) = (after(long, 1.35 * deviation, 0.0), after(long, 1.25 * deviation, 0.0));
    assert!(still.apart.is_some() && still.open && still.named == Some(Side::Second));
    assert!(again.apart.is_none() && !again.open && again.named.is_none());
    // open, though not apart, they may be named still
    let short = Fusion { apart: Some((at(14), at(15))), open: true, named: Some(Side::Second), ..fusion };
    let (still, again) = (after(short, 1.35 * deviation, 0.0), after(short, 1.25 * deviation, 0.0));
    assert!(still.apart.is_none() && still.open && still.named == Some(Side::Second));
    assert!(!again.open && again.named.is_none());
}

#[test]
fn one_is_named_where_the_odds_are_clear_and_what_told_it_lasts() {
    let apart = Fusion { apart: Some((at(0), at(4))), open: true, ..known(1.0) };
    let (one, two) = (Some(Side::First), Some(Side::Second));
    let long = Fusion { apart: Some((at(0), at(10))), ..apart };
    for (fusion, against, named, sudden) in [
        (long, 1.6, one, 0.0),
        (long, 1.5, None, 0.0),
        (long, -1.6, two, 0.0),
        // what its own readings told lasts
        (Fusion { sudden: 1.6, ..long }, 0.0, one, 2.5),
        (Fusion { sudden: -1.6, ..long }, 0.0, two, -2.5),
        (long, -1.4, None, 0.0),
        (Fusion { sudden: 3.0, ..long }, 0.0, one, 3.0),
        (Fusion { sudden: -3.0, ..long }, 0.0, two, -3.0),
        // not for long enough, unless it is very clear
        (Fusion { apart: Some((at(6), at(10))), ..long }, 7.0, None, 0.0),
        (Fusion { apart: Some((at(6), at(10))), ..long }, 7.1, one, 0.0),
        (Fusion { apart: Some((at(6), at(10))), ..long }, -7.1, two, 0.0),
    ] {
        let after = after(fusion, 40.0, against);
        assert_eq!(after.named, named, "{against}");
        near([after.sudden], [sudden]);
    }
}

#[test]
fn a_new_sensor_is_known_by_nothing_and_the_other_as_before() {
    let lived = Fusion {
        apart: Some((at(0), at(4))),
        open: true,
        named: Some(Side::First),
        sudden: 2.0,
        sticks: 1.0,
        ..known(2.0)
    };
    for (side, offsets, p) in
        [(Side::First, [0.0, -6.0], [0.0, 0.0, 64.0]), (Side::Second, [4.0, 0.0], [100.0, 0.0, 0.0])]
    {
        let mut fusion = lived;
        fusion.reset(side, false);
        let known = Fusion { at: at(0), offsets, p, ..Fusion::new() };
        // what tells against the other stays
        assert_eq!(
            fusion,
            if side == Side::First { known } else { Fusion { sudden: 2.0, sticks: 1.0, ..known } }
        );
    }
    // and so does that one errs, unless it was the one that is gone
    let after = |named, side| {
        let mut fusion = Fusion { named, apart: Some((at(0), at(20))), ..lived };
        fusion.reset(side, false);
        (fusion.named, fusion.is_apart(), fusion.open)
    };
    // a low that it read, but one that was not believed, leaves the other in doubt
    let after_low = |named, side| {
        let mut fusion = Fusion { named, at: at(60), ..known(1.0) };
        fusion.reset(side, true);
        fusion.step(at(61), &[side.other(), side].map(|one| (one == Side::First).then(|| part(124.0))), None);
        fusion.is_open_against(side.other())
    };
    for side in Side::BOTH {
        assert_eq!([after_low(None, side), after_low(Some(side), side)], [true, false], "{side}");
    }
    for (side, other) in [(Side::First, Side::Second), (Side::Second, Side::First)] {
        assert_eq!(after(Some(side), side), (None, false, false));
        assert_eq!(after(Some(other), side), (Some(other), true, true));
        assert_eq!(after(None, side), (None, true, true));
    }
}

#[test]
fn what_is_kept_is_read_back() {
    let lived = Fusion {
        told: at(3),
        usual: 1.7,
        sudden: -2.0,
        sticks: 1.5,
        apart: Some((at(0), at(4))),
        open: true,
        ..known(1.0)
    };
    for named in [None, Some(Side::First), Some(Side::Second)] {
        let (mut fusion, mut room) = (Fusion { named, ..lived }, [0; 128]);
        let mut saving = Codec::saving(&mut room);
        saving.now(&mut at(5));
        fusion.code(&mut saving);
        let length = saving.end().unwrap();
        let mut other = Fusion { named: Some(Side::First), ..Fusion::new() };
        for mut reading in [Codec::checking(&room[..length]), Codec::loading(&room[..length])] {
            reading.now(&mut at(0));
            other.code(&mut reading);
            assert_eq!(reading.end(), Some(length));
        }
        assert_eq!(other, fusion);
    }
}
