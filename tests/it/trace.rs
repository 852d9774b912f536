//! Traced areas: against another program's values, against known areas, and refused where the scale is not sound.
use crate::support::program;

use program::{demo, demo_stills, zonecall};
use serde_json::Value;
use zonecall::frames::dicom::Region;
use zonecall::trace::{
    ClickProblem, Grey, Outline, OutlineProblem, POINTS_MAX, Scale, compare, outline_at, scale_for, size,
};

const SQUARE_MM: Scale = Scale { bounds_px: [0.0, 0.0, 320.0, 240.0], width_mm: 0.125, height_mm: 0.125 };

fn polygon(points: &[(f64, f64)]) -> Outline {
    Outline::Polygon { points_px: points.to_vec() }
}

/// Recorded from shapely; its version is in the file.
#[test]
fn areas_and_lengths_are_those_of_another_program() {
    let recorded: Value = serde_json::from_str(include_str!("../recorded/shapely.json")).unwrap();
    let number = |value: &Value| value.as_f64().unwrap();
    let scale = Scale {
        bounds_px: [0.0, 0.0, 1000.0, 1000.0],
        width_mm: number(&recorded["delta_mm"][0]),
        height_mm: number(&recorded["delta_mm"][1]),
    };
    for (name, ring) in recorded["rings"].as_object().unwrap() {
        let points: Vec<(f64, f64)> = serde_json::from_value(ring["points_px"].clone()).unwrap();
        let outline = polygon(&points);
        let measured = scale_for(&outline, &[scale]).map(|scale| size(&outline, &scale));
        if !ring["valid"].as_bool().unwrap() {
            assert_eq!(measured, Err(OutlineProblem::Crossed), "{name}");
            continue;
        }
        let measured = measured.unwrap();
        let bounds: Vec<f64> = ring["bounds_mm"].as_array().unwrap().iter().map(number).collect();
        for (found, wanted) in [
            (outline.area_px2(), number(&ring["area_px2"])),
            (measured.area_mm2, number(&ring["area_mm2"])),
            (measured.circumference_mm, number(&ring["length_mm"])),
            (measured.width_mm, bounds[2] - bounds[0]),
            (measured.depth_mm, bounds[3] - bounds[1]),
        ] {
            assert!((found - wanted).abs() <= 1e-9 * wanted, "{name}: {found} is not {wanted}");
        }
    }
}

/// The worked value of our notes on DICOM: 8000 pixels of 0.02622878766196998 cm are 550.3594417733668 mm2.
#[test]
fn the_worked_value_comes_out() {
    let delta_mm = 10.0 * 0.026_228_787_661_969_98;
    let region = Region { bounds_px: [0, 0, 799, 349], delta_x_mm: delta_mm, delta_y_mm: -delta_mm };
    let outline = polygon(&[(300.0, 200.0), (400.0, 200.0), (400.0, 280.0), (300.0, 280.0)]);
    let scale = scale_for(&outline, &[Scale::from(region)]).unwrap();
    assert!((size(&outline, &scale).area_mm2 - 550.359_441_773_366_8).abs() < 1e-9);
}

#[test]
fn a_scale_that_is_missing_or_ambiguous_is_refused() {
    let outline = polygon(&[(10.0, 10.0), (50.0, 10.0), (50.0, 40.0)]);
    let left = Scale { bounds_px: [0.0, 0.0, 30.0, 240.0], ..SQUARE_MM };
    let right = Scale { bounds_px: [30.0, 0.0, 320.0, 240.0], ..SQUARE_MM };
    assert_eq!(scale_for(&outline, &[]), Err(OutlineProblem::NoScale));
    assert_eq!(
        scale_for(&outline, &[left, right]),
        Err(OutlineProblem::NoScale),
        "over the border of two regions"
    );
    let other = Scale { height_mm: 0.2, ..SQUARE_MM };
    assert_eq!(scale_for(&outline, &[SQUARE_MM, other]), Err(OutlineProblem::TwoScales));
    assert_eq!(scale_for(&outline, &[SQUARE_MM, SQUARE_MM]), Ok(SQUARE_MM));
}

#[test]
fn what_is_no_outline_is_refused() {
    for outline in [
        polygon(&[(0.0, 0.0), (1.0, 1.0)]),
        polygon(&[(0.0, 0.0), (1.0, f64::NAN), (2.0, 0.0)]),
        polygon(&vec![(0.0, 0.0); POINTS_MAX + 1]),
        Outline::Ellipse { centre_px: (9.0, 9.0), half_axes_px: (0.0, 3.0), turned_deg: 0.0 },
    ] {
        assert_eq!(outline.verify(), Err(OutlineProblem::Malformed), "{outline:?}");
    }
}

#[test]
fn a_turned_ellipse_keeps_its_area_and_changes_its_extents() {
    let ellipse =
        |turned_deg| Outline::Ellipse { centre_px: (160.0, 120.0), half_axes_px: (80.0, 40.0), turned_deg };
    let (flat, upright) = (size(&ellipse(0.0), &SQUARE_MM), size(&ellipse(90.0), &SQUARE_MM));
    // pi * 80 * 40 pixels of 0.125 mm.
    assert!((flat.area_mm2 - 157.079_632_679).abs() < 1e-6);
    assert!((flat.area_mm2 - upright.area_mm2).abs() < 1e-9);
    assert!((flat.width_mm - 20.0).abs() < 1e-6 && (flat.depth_mm - 10.0).abs() < 1e-6);
    assert!((upright.width_mm - 10.0).abs() < 1e-6 && (upright.depth_mm - 20.0).abs() < 1e-6);
    // Ramanujan's second formula for the circumference of an ellipse with half axes 10 and 5 mm: 48.4422 mm.
    assert!((flat.circumference_mm - 48.4422).abs() < 0.002, "{}", flat.circumference_mm);
}

/// Synthetic: an ellipse of speckle with a dark one inside; `looks` averaged pictures calm the speckle.
fn still(half_axes: (f64, f64), lesion: (f64, f64), looks: u32, seed: u64) -> Grey {
    still_at((160.0, 120.0), half_axes, lesion, looks, seed)
}

fn still_at(centre: (f64, f64), half_axes: (f64, f64), lesion: (f64, f64), looks: u32, seed: u64) -> Grey {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut speckle = || {
        let sum: f64 = (0..looks)
            .map(|_| {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                let even = ((state >> 40) as f64 + 1.0) / (1_u64 << 24) as f64;
                (-2.0 * even.ln()).sqrt() / std::f64::consts::FRAC_PI_2.sqrt()
            })
            .sum();
        sum / f64::from(looks)
    };
    let mut pixels = Vec::new();
    for y in 0..240 {
        for x in 0..320 {
            let (dx, dy) = (f64::from(x) + 0.5 - centre.0, f64::from(y) + 0.5 - centre.1);
            let within = |(a, b): (f64, f64)| b > 0.0 && (dx / a).powi(2) + (dy / b).powi(2) <= 1.0;
            let mean = if within(half_axes) && !within(lesion) { 105.0 } else { 45.0 };
            pixels.push((mean * speckle()).clamp(0.0, 255.0) as u8);
        }
    }
    Grey::new(320, 240, pixels).unwrap()
}

/// Half axes in pixels of an ellipse of so many mm2, 2.25 times as wide as high, of pixels of 0.125 mm.
fn half_axes(mm2: f64) -> (f64, f64) {
    let b = (mm2 / (0.125 * 0.125) / (std::f64::consts::PI * 2.25)).sqrt();
    (2.25 * b, b)
}

fn clicked_mm2(grey: &Grey, x: f64, y: f64) -> f64 {
    let outline = outline_at(grey, x, y).unwrap();
    size(&outline, &scale_for(&outline, &[SQUARE_MM]).unwrap()).area_mm2
}

/// Three noise levels: 16, 4 (as the demo's stills) and 1 pictures averaged; each with and without a lesion of a third.
#[test]
fn one_click_is_within_five_percent_at_three_noise_levels() {
    let mut worst = 0.0_f64;
    for looks in [16, 4, 1] {
        for (mm2, lesion) in [(100.0, 0.0), (150.0, 0.0), (150.0, 51.0), (70.0, 0.0)] {
            for seed in 1..=2 {
                let lesion = if lesion > 0.0 { half_axes(lesion) } else { (0.0, 0.0) };
                let grey = still(half_axes(mm2), lesion, looks, seed);
                for (x, y) in [(160.0, 120.0), (175.0, 126.0)] {
                    let off = clicked_mm2(&grey, x, y) / mm2 - 1.0;
                    assert!(
                        off.abs() < 0.05,
                        "{mm2} mm2, lesion {lesion:?}, {looks} looks, seed {seed}, ({x}, {y}): {off:+.3}"
                    );
                    worst = worst.max(off.abs());
                }
            }
        }
    }
    println!("worst of 48 clicks: {:.2} %", 100.0 * worst);
}

/// As wide as the picture nearly allows, and 20 px below its top: no ray may cut another one short.
#[test]
fn a_structure_near_the_edge_is_outlined_whole_or_not_at_all() {
    let (a, b) = half_axes(150.0);
    for (looks, seed) in [(16, 1), (4, 2), (4, 3)] {
        let near = still_at((160.0, 20.0 + b), (a, b), (0.0, 0.0), looks, seed);
        let off = clicked_mm2(&near, 160.0, 20.0 + b) / 150.0 - 1.0;
        assert!(off.abs() < 0.05, "20 px below the top, {looks} looks, seed {seed}: {off:+.3}");
        let touching = still_at((160.0, b - 6.0), (a, b), (0.0, 0.0), looks, seed);
        assert_eq!(outline_at(&touching, 160.0, b - 6.0), Err(ClickProblem::AtEdge), "cut off by the top");
    }
}

#[test]
fn a_click_without_an_edge_or_outside_gives_no_outline() {
    let plain = Grey::new(320, 240, vec![90; 320 * 240]).unwrap();
    assert_eq!(outline_at(&plain, 160.0, 120.0), Err(ClickProblem::NoEdge));
    assert_eq!(outline_at(&plain, 500.0, 120.0), Err(ClickProblem::Outside));
    assert_eq!(outline_at(&plain, f64::NAN, 120.0), Err(ClickProblem::Outside));
    assert_eq!(Grey::new(3, 3, vec![0; 8]), None);
}

#[test]
fn the_grey_inside_a_lesion_is_compared_with_the_rest_of_its_structure() {
    let grey = still((72.0, 32.0), (30.0, 14.0), 16, 5);
    let ellipse =
        |half_axes_px| Outline::Ellipse { centre_px: (160.0, 120.0), half_axes_px, turned_deg: 0.0 };
    let compared = compare(&grey, &ellipse((30.0, 14.0)), &ellipse((72.0, 32.0))).unwrap();
    // The picture is drawn with means 45 and 105.
    assert!((compared.ratio.unwrap() - 45.0 / 105.0).abs() < 0.01, "{compared:?}");
    let pixels: u32 = compared.histogram_inside.iter().sum();
    assert!((f64::from(pixels) / (std::f64::consts::PI * 30.0 * 14.0) - 1.0).abs() < 0.02);
    assert!(compared.caution.contains("gain"));
}

use crate::support;

/// The demo's still of left 2B: 1.5 cm2 with a lesion of 0.51 cm2, drawn as ellipses around the middle.
#[test]
fn traces_on_a_demo_still_are_within_one_percent_and_reach_the_measures() {
    let folder = tempfile::tempdir().unwrap();
    let exam = folder.path().join("exam");
    let stills = folder.path().join("stills");
    let table = std::fs::read_to_string(demo("fore-limbs.stills.csv")).unwrap();
    let row = table.lines().find(|line| line.contains("LF 2B T")).unwrap();
    let at_s: f64 = row.split(',').next().unwrap().parse().unwrap();
    let small = folder.path().join("one.csv");
    std::fs::write(&small, format!("{}\n{row}\n", table.lines().next().unwrap())).unwrap();
    let made =
        demo_stills().arg(&small).arg(&stills).args(["2026-05-04T10:00:00+02:00", "0"]).status().unwrap();
    assert!(made.success());
    support::write_journal(
        &exam,
        &[(2.0, "left fore two bravo transverse"), (6.0, "s d f t"), (at_s, "save")],
    );
    let exam = exam.to_str().unwrap();
    zonecall(&["pair", exam, "--frames", stills.to_str().unwrap()]);
    let base = [
        "trace",
        exam,
        "--still",
        "IM0001.dcm",
        "--limb",
        "LF",
        "--zone",
        "2B",
        "--structure",
        "SDFT",
        "--by",
        "Ada",
    ];
    let trace = |more: &[&str]| zonecall(&[&base, more].concat());
    let whole = half_axes(150.0);
    let ellipse = format!("160,120,{},{},0", whole.0, whole.1);
    let clicked = trace(&["--click", "160,120"]);
    assert_eq!(clicked.status.code(), Some(1), "a suggestion waits for a person: {clicked:?}");
    assert!(String::from_utf8_lossy(&clicked.stdout).contains("nothing was written"));
    let done = trace(&["--ellipse", &ellipse]);
    assert!(done.status.success(), "{done:?}");
    let inner = half_axes(51.0);
    let points: Vec<String> =
        Outline::Ellipse { centre_px: (160.0, 120.0), half_axes_px: inner, turned_deg: 0.0 }
            .corners()
            .iter()
            .step_by(20)
            .map(|(x, y)| format!("{x},{y}"))
            .collect();
    let lesion = trace(&["--lesion", "--points", &points.join(" ")]);
    assert!(lesion.status.success(), "{lesion:?}");
    assert!(String::from_utf8_lossy(&lesion.stdout).contains("ratio 0.4"), "{lesion:?}");
    let outside = trace(&["--ellipse", "5,5,20,20,0"]);
    assert_eq!(outside.status.code(), Some(2), "{outside:?}");
    let measures: Value =
        serde_json::from_slice(&zonecall(&["measure", exam, "--as", "json"]).stdout).unwrap();
    let value = |name: &str| {
        let rows = measures["measures"].as_array().unwrap();
        let row = rows.iter().find(|row| row["name"] == name && row["zone"] == "2B").unwrap();
        assert_eq!((&row["how"][0], &row["by"][0]), (&"traced".into(), &"Ada".into()));
        row["value"].as_f64().unwrap()
    };
    assert!((value("area") / 150.0 - 1.0).abs() < 0.01);
    assert!((value("lesion_area") / 51.0 - 1.0).abs() < 0.01);
    assert!((value("lesion_percent") - 34.0).abs() < 0.34);
}
