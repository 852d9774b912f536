//! What costs much if it is heard wrong, and when that keeps a reading from being acted on.
use crate::support;

use zonecall::exam::stakes::stakes;
use zonecall::speech::stakes::{Limit, Limits, Stake, Stakes, broken};

fn of(words: &str) -> Stakes {
    let words: Vec<&str> = words.split(' ').collect();
    stakes(&words, &support::BUILT_IN.0, &support::BUILT_IN.1)
}

fn what(stakes: &Stakes) -> Vec<Stake> {
    stakes.iter().map(|(stake, _)| *stake).collect()
}

#[test]
fn limbs_numbers_findings_and_commands_are_at_stake_and_the_plane_is_not() {
    for (words, wanted) in [
        ("left fore", vec![Stake::Limb]),
        ("other leg", vec![Stake::Limb]),
        ("level twelve centimetres", vec![Stake::Number]),
        ("area one point two square centimetres", vec![Stake::Number]),
        ("core lesion", vec![Stake::Presence]),
        ("disregard last two", vec![Stake::TakeBack]),
        ("end of exam", vec![Stake::End]),
        ("transverse", vec![]),
    ] {
        assert_eq!(what(&of(words)), wanted, "{words}");
    }
}

#[test]
fn readings_that_differ_in_what_counts_have_other_stakes() {
    for (one, other) in [
        ("left fore", "off fore"),
        ("core lesion", "no core lesion"),
        ("hypoechoic", "hyperechoic"),
        ("adhesion", "effusion"),
        ("echo score two", "echo score three"),
        ("disregard last two", "disregard last three"),
    ] {
        assert_ne!(of(one), of(other), "{one}, {other}");
    }
    assert_eq!(of("near fore"), of("left fore"), "the same limb");
}

#[test]
fn a_rival_with_another_stake_that_is_near_is_asked_about_and_one_far_behind_is_not() {
    let limits = Limits::from([(Stake::Presence, Limit { right_min: 0.9, rival_min: 4.0 })]);
    let asked =
        |right, behind, rival: &str| broken(&limits, &of("hypoechoic"), right, &[(behind, of(rival))]);
    assert_eq!(asked(0.98, 3.3, "hyperechoic"), Some(Stake::Presence));
    assert_eq!(asked(0.98, 4.1, "hyperechoic"), None);
    assert_eq!(asked(0.98, 0.1, "hypoechoic save"), None, "the finding is the same");
    assert_eq!(asked(0.89, 9.0, "hypoechoic"), Some(Stake::Presence), "it is too improbable itself");
}
