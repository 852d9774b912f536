//! The colours of the report, by the contrast that WCAG 2.2 asks for.

/// Contrast by the formula of WCAG 2.2 for two colours written `#rrggbb`.
fn contrast(one: &str, other: &str) -> f64 {
    let luminance = |colour: &str| {
        let part = |idx: usize| {
            let value = f64::from(u8::from_str_radix(&colour[idx..idx + 2], 16).unwrap()) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    };
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

#[test]
fn the_report_keeps_the_contrast_of_wcag_aa() {
    assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9, "the formula itself");
    let style = include_str!("../../src/report/style.css");
    let var = |name: &str| &style.split_once(&format!("--{name}: ")).unwrap().1[..7];
    let shades = ["#d5e8dd", "#fbe9c6", "#fbf3e0", "#f3d3cf", "#e3e6e4", "#f2f5f3", "#ffffff", "#e4efe9"];
    for shade in shades {
        assert!(shade == "#ffffff" || style.contains(shade), "{shade} is not in the style");
        for ink in ["ink", "link", "soft"] {
            assert!(contrast(var(ink), shade) >= 4.5, "{ink} on {shade}: {:.2}", contrast(var(ink), shade));
        }
    }
    for (ink, ground) in [("#ffffff", "#8c1d18"), ("#4a3200", "#fbe9c6")] {
        assert!(style.contains(ground) && contrast(ink, ground) >= 4.5);
    }
}
