//! Measures as people read them: tables, thresholds, what is missing, and the chart of the leg.
use crate::support;
use crate::support::sample::WHOLE;

use support::{BUILT_IN, exam_of};
use zonecall::exam::fold::Exam;
use zonecall::exam::seq::Seq;
use zonecall::frames::pairing::Pairing;
use zonecall::knowledge::measure::Earlier;
use zonecall::knowledge::measure::row::Name;
use zonecall::knowledge::record::Record;
use zonecall::protocol::Protocols;
use zonecall::report::picture::Pictures;
use zonecall::report::{ReportInput, measure_table, vet};

/// The invented horse of `tests/it/measure.rs`, spoken; RF only to 3B.
fn spoken() -> Record {
    let zones =
        ["one alpha", "one bravo", "two alpha", "two bravo", "three alpha", "three bravo", "three charlie"];
    let left = [
        "one hundred eight",
        "one hundred twelve",
        "one hundred thirty five",
        "one hundred fifty",
        "one hundred twenty eight",
        "one hundred four",
        "one hundred thirty",
    ];
    let right = [
        "one hundred six",
        "one hundred eight",
        "one hundred four",
        "one hundred two",
        "one hundred three",
        "one hundred",
    ];
    let lesions = [(2, "twenty two"), (3, "fifty one"), (4, "thirty")];
    let mut utterances = Vec::new();
    for (limb, areas) in [("left fore", left.as_slice()), ("right fore", right.as_slice())] {
        utterances.push(limb.to_owned());
        for (idx, area) in areas.iter().enumerate() {
            utterances.push(format!("{} transverse s d f t", zones[idx]));
            utterances.push(format!("area {area} square millimetres"));
            if limb == "left fore" {
                let lesion = lesions.iter().find(|(zone, _)| *zone == idx).map_or("zero", |lesion| lesion.1);
                utterances.push(format!("lesion area {lesion} square millimetres"));
            }
        }
    }
    let utterances: Vec<&str> = utterances.iter().map(String::as_str).collect();
    record(&exam_of(&utterances))
}

#[test]
fn the_text_shows_zones_totals_thresholds_and_what_is_missing() {
    let text = measure_table::text(&spoken(), &BUILT_IN.1);
    for line in [
        "left fore, superficial digital flexor tendon (scheme thirds)",
        "  2B           150          51      34.0         +47.1",
        "  total        867         103      11.9             ?",
        "  lesion percentage of the total: 11.88 %, mild",
        "  worst zone: 2B, 34.0 %",
        "  zones with a lesion: 3 (2A, 2B, 3A)",
        "  not computed: total, area and lesion percentage of the total: no area in 3C",
    ] {
        assert!(text.contains(line), "`{line}` is not in\n{text}");
    }
    let over = text.lines().filter(|line| line.trim().starts_with("over: ")).count();
    assert_eq!(over, 3, "{text}");
    assert!(
        text.contains("over: 2B: more than 20 % larger than RF (an area more than 20 % larger"),
        "{text}"
    );
    assert!(text.trim_end().ends_with("the practice's responsibility."));
}

#[test]
fn an_exam_without_numbers_says_so() {
    let none = record(&exam_of(&["left fore two alpha transverse", "save"]));
    assert!(none.measures.is_empty());
    assert!(measure_table::text(&none, &BUILT_IN.1).starts_with("nothing was measured\n"));
}

/// A number at a place where no measure is made from it is shown with the reason, in both forms.
#[test]
fn a_number_that_is_not_used_is_shown_with_the_reason() {
    let (lost, outside, twice) =
        ("area one square centimetre", "long plantar ligament", "area two square centimetres");
    let utterances = [
        "left fore two bravo",
        lost,
        "transverse",
        outside,
        lost,
        "s d f t",
        lost,
        twice,
        "circumference five",
    ];
    let told = record(&exam_of(&utterances));
    let text = measure_table::text(&told, &BUILT_IN.1);
    let json: serde_json::Value = serde_json::from_str(&measure_table::json(&told, &BUILT_IN.1)).unwrap();
    let unused = json["unused"].as_array().unwrap();
    assert_eq!(unused.len(), 4, "{text}");
    for (one, why) in unused.iter().zip([
        "no limb, zone or structure was set",
        "LPL is not expected in zone 2B of the scheme `thirds`",
        "for the same place is used",
        "no measure uses a circumference",
    ]) {
        assert!(one["why"].as_str().unwrap().contains(why), "`{why}` is not in {one}");
        assert!(text.contains(&format!("(line {}): {}", one["seq"], one["why"].as_str().unwrap())), "{text}");
    }
    let alone = exam_of(&["left fore two bravo transverse", outside, lost]);
    let text = measure_table::text(&record(&alone), &BUILT_IN.1);
    assert!(
        text.starts_with("nothing could be computed\nnot used: left fore, zone 2B, transverse, "),
        "{text}"
    );
    assert!(text.contains(": area 1 cm2 (line "), "{text}");
}

#[test]
fn normal_is_told_as_a_word_never_as_a_number_and_heads_no_empty_part_of_the_report() {
    let normal = ["left fore two bravo transverse", "s d f t", "normal"];
    let only = record(&exam_of(&normal));
    let line = "left fore, superficial digital flexor tendon: `normal` was said without a number: lesion area in 2B; \
                echo score in 2B\n";
    let text = measure_table::text(&only, &BUILT_IN.1);
    assert!(text.starts_with("nothing was measured\n") && text.contains(line), "{text}");
    let zero = only.measures.iter().find(|row| row.name == Name::Score).unwrap();
    assert_eq!((zero.value, zero.word.as_deref()), (None, Some("normal (said)")));
    assert!(!page(&only).contains("Computed from") && !page(&only).contains("#measures"));
    let also =
        [&normal[..], &["three alpha", "s d f t", "area one square centimetre", "echo score zero"]].concat();
    let both = record(&exam_of(&also));
    let text = measure_table::text(&both, &BUILT_IN.1);
    assert!(
        text.contains("  caution: `normal` was said without a number: lesion area in 2B; echo score in 2B\n"),
        "{text}"
    );
    // Silence is worth less than a word: nothing at all.
    assert!(text.contains("no lesion area in 1A, 1B, 2A, 3A, 3B, 3C"), "{text}");
    assert!(page(&both).contains("“normal” was said without a number") && !page(&both).contains('`'));
    assert!(page(&both).contains("normal (said)"));
    let said = both.measures.iter().find(|row| row.name == Name::Score && row.zone.as_deref() == Some("3A"));
    assert_eq!(said.unwrap().value, Some(0.0), "this one was said as a number");
}

/// The number that was traced is in the table; the caption of the still and the list of what was said show it, too.
#[test]
fn one_value_counts_and_stands_everywhere_in_one_unit() {
    let said =
        ["left fore two bravo transverse", "s d f t", "area one point five square centimetres", "width nine"];
    let mut exam = exam_of(&said);
    let plain = page(&record(&exam));
    assert!(plain.contains("area 150 mm2"), "{plain}");
    assert!(plain.contains("width mm") && !plain.contains("width cm"), "one unit for a term");
    exam.entries.push(zonecall::exam::fold::LoggedEntry {
        seq: Seq(99),
        at: exam.header.started_at,
        entered: zonecall::exam::event::Entered {
            traced: true,
            by: Some("Robin".to_owned()),
            ..support::area("SDFT", 1.2, "cm2")
        },
    });
    let page = page(&record(&exam));
    assert!(page.contains("area 120 mm2, traced (150 mm2 was said)"), "{page}");
}

#[test]
fn the_report_tells_of_units_that_were_assumed_and_of_numbers_that_were_not_used() {
    let place = ["left fore two bravo transverse", "s d f t"];
    let said = [&place[..], &["area one point two square centimetres", "area one point five"]].concat();
    let both = record(&exam_of(&said));
    let (calls, page) = (&both.calls, page(&both));
    let (first, last) = (calls[calls.len() - 2].seq, calls[calls.len() - 1].seq);
    assert!(page.contains(&format!("2B: area 1.5 cm2 (unit assumed), call {last}")), "{page}");
    let unused = page.split_once("Not used:").expect("a list of what was not used").1;
    assert!(unused.contains(&format!("area 1.2 cm2 (line {first}): ")), "{unused}");
    let whole = [&place[..], &["area one point two square centimetres"]].concat();
    let page = self::page(&record(&exam_of(&whole)));
    assert!(!page.contains("unit not said") && !page.contains("Not used:"), "{page}");
}

/// Both numbers of a range and of a pair are in the unit that people are shown.
#[test]
fn a_range_and_a_pair_are_told_in_one_unit() {
    let page = page(&record(&exam_of(&[
        "left fore two alpha transverse",
        "superficial",
        "length forty to fifty millimetres",
        "width one to one point two centimetres",
        "area one to one point two square centimetres",
        "twelve by nine millimetres",
    ])));
    for told in ["length 4 to 5 cm", "width 10 to 12 mm", "area 100 to 120 mm2", "caliper pair 1.2 by 0.9 cm"]
    {
        assert!(page.contains(told), "`{told}` is not in {page}");
    }
}

fn record(exam: &Exam) -> Record {
    zonecall::knowledge::assemble::record(exam, &Pairing::default(), &BUILT_IN.1)
}

fn page(record: &Record) -> String {
    page_of(record, &[], &BUILT_IN.1)
}

fn page_of(record: &Record, earlier: &[Earlier], protocols: &Protocols) -> String {
    vet::html(&ReportInput { record, earlier, protocols, pictures: &Pictures::default(), frame: WHOLE })
}

/// Widths of the bars in the chart, in user units, with their fill.
fn bars(svg: &str) -> Vec<(f64, String)> {
    let attribute = |bar: &str, name: &str| {
        let from = bar.find(&format!(" {name}=\"")).unwrap() + name.len() + 3;
        bar[from..].split('"').next().unwrap().to_owned()
    };
    let stroked =
        svg.split("<rect ").skip(1).filter(|bar| bar.split('>').next().unwrap().contains("stroke-width"));
    stroked
        .map(|bar| (attribute(&format!(" {bar}"), "width").parse().unwrap(), attribute(bar, "fill")))
        .collect()
}

#[test]
fn the_chart_draws_areas_and_lesions_on_one_scale() {
    let page = page(&spoken());
    let svg = page.split("<svg").nth(1).unwrap().split("</svg>").next().unwrap();
    let bars = bars(svg);
    // Seven areas and three lesions on the left, six areas on the right.
    assert_eq!(bars.len(), 16);
    let lesions: Vec<f64> = bars.iter().filter(|bar| bar.1 == "#333").map(|bar| bar.0).collect();
    let largest = bars.iter().map(|bar| bar.0).fold(0.0, f64::max);
    for (drawn, mm2) in lesions.iter().zip([22.0, 51.0, 30.0]) {
        assert!((drawn / largest - mm2 / 150.0).abs() < 0.001, "{drawn} of {largest} for {mm2} mm2");
    }
    for figures in ["150 (51)", ">100<", ">–<", "left fore", "right fore", ">2B<"] {
        assert!(svg.contains(figures), "`{figures}` is not in the chart");
    }
}

/// The limb is drawn beside the areas: its bones as data, and each zone as high as its centimetres.
#[test]
fn the_limb_is_drawn_with_its_zones_at_their_heights() {
    let svg_of = |protocols: &Protocols| {
        let page = page_of(&spoken(), &[], protocols);
        page.split("<svg").nth(1).unwrap().split("</svg>").next().unwrap().to_owned()
    };
    let svg = svg_of(&BUILT_IN.1);
    let scheme = BUILT_IN.1.scheme("thirds").unwrap();
    assert_eq!(svg.matches("<polygon").count(), 2 * scheme.bone.len(), "both limbs");
    assert!(svg.contains("Bones are schematic."), "{svg}");
    // The practice's zones: 2B twice as high as before.
    let mut protocols = BUILT_IN.1.clone();
    let own = protocols.schemes.iter_mut().find(|scheme| scheme.name == "thirds").unwrap();
    for zone in &mut own.zones {
        let (from, to) = zone.cm.unwrap();
        let down = |cm: f64| if cm > 12.0 { cm + 4.0 } else { cm };
        zone.cm = Some((down(from), down(to)));
    }
    let heights = |svg: &str| -> Vec<f64> {
        let bars = svg
            .split("<rect ")
            .skip(1)
            .filter(|bar| bar.contains("fill=\"#ddd\" stroke=\"#111\" stroke-width"));
        let height =
            |bar: &str| bar.split(" height=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
        bars.map(height).collect()
    };
    let (alike, own) = (heights(&svg), heights(&svg_of(&protocols)));
    assert!(alike.iter().all(|height| (height - alike[0]).abs() < 0.11), "{alike:?}");
    // Seven zones on the left; the fourth takes 8 of 32 cm.
    assert!((own[3] / own[0] - 2.0).abs() < 0.02, "{own:?}");
    let whole = |heights: &[f64]| heights[..7].iter().sum::<f64>();
    assert!((whole(&own) - whole(&alike)).abs() < 1.0, "the drawing stays as high");
}

/// Grey print and colour-blind readers lose nothing: every paint has equal red, green and blue.
#[test]
fn the_chart_uses_no_colour() {
    let page = page(&spoken());
    for svg in page.split("<svg").skip(1) {
        for paint in svg.split("</svg>").next().unwrap().split("=\"#").skip(1) {
            let hex: Vec<char> = paint.split('"').next().unwrap().chars().collect();
            assert_eq!(hex.len(), 3, "{hex:?}");
            assert!(hex.iter().all(|sign| *sign == hex[0]), "{hex:?} is a colour");
        }
    }
}

#[test]
fn a_hostile_name_stays_text_in_the_chart() {
    let mut protocols = BUILT_IN.1.clone();
    protocols.limbs[0].name = "<script>\"left\"&</script>".to_owned();
    let page = page_of(&spoken(), &[], &protocols);
    assert!(!page.contains("<script>"));
    assert!(page.contains("&lt;script&gt;&quot;left&quot;&amp;&lt;/script&gt;"));
}

#[test]
fn the_report_holds_tables_thresholds_and_sources_of_the_measures() {
    let page = page(&spoken());
    for words in [
        "Measurements",
        "more than 20 % larger than RF",
        "11.88 %, mild",
        "no area in 3C",
        "doi 10.1136/vr.j5746",
        "href=\"#measures\"",
    ] {
        assert!(page.contains(words), "`{words}` is not in the report");
    }
}

#[test]
fn the_course_is_drawn_for_the_worst_zone_once_there_is_an_earlier_exam() {
    let (now, protocols) = (spoken(), &BUILT_IN.1);
    assert_eq!(page(&now).matches("<svg").count(), 1, "one exam has no course");
    let earlier = |at: &str, grown: f64| {
        let mut rows = now.measures.clone();
        for row in rows.iter_mut().filter(|row| row.name == Name::Area) {
            row.value = row.value.map(|mm2| mm2 / grown);
        }
        Earlier { id: at.to_owned(), at: at.parse().unwrap(), utc_offset_s: 0, rows }
    };
    let past = [earlier("2026-01-10T08:00:00Z", 1.5), earlier("2026-03-08T08:00:00Z", 1.25)];
    let page = page_of(&now, &past, protocols);
    let svg = page.split("<svg").nth(2).expect("a second chart").split("</svg>").next().unwrap();
    for words in [
        "zone 2B: area in mm2",
        "10 Jan 2026",
        "8 Mar 2026",
        ">100<",
        ">120<",
        ">150<",
        "left fore",
        "right fore",
    ] {
        assert!(svg.contains(words), "`{words}` is not in {svg}");
    }
}

/// A lesion that was only said to be possible is counted neither as there nor as not there.
#[test]
fn a_possible_lesion_is_in_no_count_of_zones() {
    let said = [
        "left fore two alpha transverse",
        "superficial possible core lesion",
        "superficial area one hundred square millimetres",
    ];
    let text = measure_table::text(&record(&exam_of(&said)), &BUILT_IN.1);
    assert!(!text.contains("zones with a lesion"), "{text}");
    let sure = [said[0], "superficial core lesion", said[2]];
    let text = measure_table::text(&record(&exam_of(&sure)), &BUILT_IN.1);
    assert!(text.contains("zones with a lesion: 1 (2A)"), "{text}");
}

/// The largest share is of those that are known; a lesion without one may be worse.
#[test]
fn the_worst_zone_says_which_lesion_has_no_share() {
    let said = [
        "left fore one bravo transverse",
        "superficial core lesion",
        "area one hundred square millimetres",
        "lesion area ten square millimetres",
        "two alpha transverse",
        "superficial core lesion",
        "lesion area forty square millimetres",
    ];
    let json: serde_json::Value =
        serde_json::from_str(&measure_table::json(&record(&exam_of(&said)), &BUILT_IN.1)).unwrap();
    let worst = json["measures"].as_array().unwrap().iter().find(|row| row["name"] == "worst_zone").unwrap();
    assert_eq!(worst["word"], "1B");
    assert!(worst["cautions"].to_string().contains("the lesion in 2A has no percentage"), "{worst}");
}
