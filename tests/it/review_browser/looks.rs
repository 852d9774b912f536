//! The desk can be used by everybody: judged by a checker that is not ours, at 200 % zoom, on a tablet, without colours.

use std::path::Path;

use serde_json::{Value, json};

use crate::review_browser::shared::{Opened, changes, copy, earlier, exam, loaded, run, to_rivals};
use crate::support::browser::{Driver, Page};
use crate::support::desk::Served;

/// What the checker finds in the page as it stands, however slight: rule and first element.
async fn faults(page: &Page) -> Vec<String> {
    let parts = std::env::var("ZONECALL_DEPS").unwrap_or_else(|_| ".deps".to_owned());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join(parts).join("axe/axe.min.js");
    let source = std::fs::read_to_string(&script).expect("axe-core is there, see scripts/setup.sh");
    page.run(&format!("if (!window.axe) {{ {source} }}")).await;
    let judge = "const done = arguments[0]; axe.run(document, { resultTypes: ['violations'] }).then(
        (told) => done({ rules: told.passes.length + told.violations.length, found: told.violations
            .map((one) => `${one.id}: ${one.nodes[0].html} ${one.nodes[0].failureSummary}`) }),
        (error) => done({ rules: 0, found: [String(error)] }))";
    let told = page.0.execute_async(judge, Vec::new()).await.unwrap();
    assert!(told["rules"].as_u64().unwrap() > 10, "the checker judged: {told}");
    serde_json::from_value(told["found"].clone()).unwrap()
}

pub(crate) async fn no_faults(page: &Page, part: &str) {
    assert_eq!(faults(page).await, Vec::<String>::new(), "{part}");
}

/// The words on the line as they are while they are heard.
async fn words_lit(page: &Page) {
    let lit = "const all = document.querySelectorAll('#marks .word'); all.forEach((one) => one.classList.add('sounding')); return all.length";
    assert!(page.run(lit).await.as_u64() > Some(0));
    no_faults(page, "words that light up").await;
}

#[test]
fn the_checker_finds_nothing_in_any_part_of_the_page() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        to_rivals(page).await;
        no_faults(page, "a question with rivals").await;
        words_lit(page).await;
        page.press("a").await;
        page.until("document.querySelector('#changes-in tbody tr')").await;
        no_faults(page, "a change in the list, words about it on the screen").await;
        page.press("z").await;
        page.until("document.querySelector('#changes-in .gone')").await;
        no_faults(page, "a change that was taken back").await;
        page.press("?").await;
        no_faults(page, "the keys").await;
        page.click("#keys .main").await;
        for (open, part) in [("#sign-open", "signing"), ("#clock-open", "the clock")] {
            page.click(open).await;
            page.until("document.querySelector('#form[open]')").await;
            no_faults(page, part).await;
            page.click("#form button[type=button]").await;
        }
        page.click("#stills-in li:nth-child(2) button").await;
        page.press("l").await;
        page.until("document.querySelector('#form[open]')").await;
        no_faults(page, "the form for a label").await;
        page.click("#form button[type=button]").await;
        page.until("document.querySelector('#bench img')?.naturalWidth > 0").await;
        page.press("t").await;
        page.until("document.activeElement.matches('.trace')").await;
        no_faults(page, "tracing").await;
        page.go("#calls-in tbody tr:nth-child(2) button", "c", "#form[open]").await;
        no_faults(page, "the form for a call").await;
        page.click("#form button[type=button]").await;
        assert!(changes(served).len() == 2, "looking changes nothing");
        // The checker sees what is wrong: a field without a name.
        page.run("document.querySelector('label[for=by]').remove()").await;
        assert!(
            faults(page).await.iter().any(|fault| fault.starts_with("label")),
            "a missing label is found"
        );
    });
}

/// Controls that cannot be reached: outside of the window's width, or under something else when brought to its middle.
const HIDDEN: &str = "return [...document.querySelectorAll('a, button, input, select, [tabindex=\"0\"]')]
    .filter((one) => one.checkVisibility() && !one.closest('.skip') && !one.closest('#strip')
        && (!document.querySelector('dialog[open]') || one.closest('dialog[open]')))
    .filter((one) => {
        one.scrollIntoView({ block: 'center', inline: 'nearest' });
        const box = one.getBoundingClientRect();
        const [x, y] = [box.left + box.width / 2, box.top + Math.min(box.height, innerHeight) / 2];
        const seen = document.elementFromPoint(x, y);
        return box.left < -1 || box.right > innerWidth + 1 || !(seen === one || one.contains(seen) || seen?.contains(one));
    }).map((one) => one.outerHTML.slice(0, 160))";

async fn fits(page: &Page, part: &str) {
    let wide = page.run("return [document.documentElement.scrollWidth, innerWidth]").await;
    assert!(wide[0].as_u64() <= wide[1].as_u64(), "{part} scrolls sideways: {wide}");
    assert_eq!(page.run(HIDDEN).await, json!([]), "{part}");
}

/// Goes through the parts of the page in a window of this size.
async fn fits_in(width: u32, height: u32) {
    let desk = Opened::by("Robin").await;
    let Opened { page, .. } = &desk;
    page.size(width, height).await;
    to_rivals(page).await;
    page.picture(&std::env::temp_dir().join(format!("zonecall-desk-{width}x{height}.png"))).await;
    fits(page, "a question with rivals").await;
    for (open, part) in [("#sign-open", "signing"), ("#clock-open", "the clock"), ("#keys-open", "the keys")]
    {
        page.click(open).await;
        page.until("document.querySelector('dialog[open]')").await;
        fits(page, part).await;
        page.click("dialog[open] button:last-of-type").await;
        page.until("!document.querySelector('dialog[open]')").await;
    }
    page.click("#stills-in li:nth-child(2) button").await;
    page.until("document.querySelector('#bench img')?.naturalWidth > 0").await;
    page.press("t").await;
    page.until("document.activeElement.matches('.trace')").await;
    fits(page, "tracing").await;
    page.go("#calls-in tbody tr:nth-child(2) button", "c", "#form[open]").await;
    fits(page, "the form for a call").await;
}

#[test]
fn on_a_wide_screen_nothing_is_hidden_and_nothing_scrolls_sideways() {
    run(fits_in(1440, 900));
}

#[test]
fn on_a_small_notebook_nothing_is_hidden_and_nothing_scrolls_sideways() {
    run(fits_in(1024, 768));
}

/// 200 % zoom of a window of 1440 by 1130 leaves half of both.
#[test]
fn at_twice_the_size_nothing_is_hidden_and_nothing_scrolls_sideways() {
    run(fits_in(720, 565));
}

/// The whole still comes into view, and the question above it is not cut off by that; two readings to choose from need more
/// room, and there the still comes first.
#[test]
fn at_twice_the_size_each_question_is_seen_together_with_its_still() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, .. } = &desk;
        page.size(720, 565).await;
        let questions = page.run("return document.querySelectorAll('#questions button').length").await;
        let seen = "const box = (one) => document.querySelector(one)?.getBoundingClientRect();
            const [head, glass] = [box('#bench h2'), box('#bench .glass')];
            return glass && !box('.rivals') ? [head.top, innerHeight - glass.bottom, document.querySelector('#bench h2').textContent] : null";
        let mut stills = 0;
        for question in 0..questions.as_u64().unwrap() {
            // Before the first one there is none: it is brought into view.
            page.press(if question == 0 { "k" } else { "j" }).await;
            page.until("!document.querySelector('#bench img') || document.querySelector('#bench img').naturalWidth > 0").await;
            let told = page.run(seen).await;
            if let Some(head_px) = told[0].as_f64() {
                stills += 1;
                // Above its letters a line has 4 pixels of its own.
                assert!(head_px >= -4.0 && told[1].as_f64() >= Some(-1.0), "{told}");
            }
        }
        assert!(stills > 0, "no question has a still");
    });
}

#[test]
fn on_a_tablet_held_upright_nothing_is_hidden_and_nothing_scrolls_sideways() {
    run(fits_in(768, 1024));
}

#[test]
fn on_a_telephone_nothing_is_hidden_and_nothing_scrolls_sideways() {
    run(fits_in(390, 844));
}

/// Each state has its own sign or words, so that nobody needs to tell the colours apart.
#[test]
fn no_meaning_is_in_a_colour_alone() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, .. } = &desk;
        page.run("document.querySelector('#line-out').click(); document.querySelector('#line-out').click()")
            .await;
        let signs = "const told = {}; const add = (kind, state, sign) => ((told[kind] ??= {})[state] ??= []).push(sign);
            document.querySelectorAll('#questions button').forEach((one) => add('question', one.className, one.querySelector('.sign').textContent));
            document.querySelectorAll('.limb td[class]:not(.sizes)').forEach((one) => add('view', one.className, one.querySelector('.sign').textContent));
            document.querySelectorAll('.mark.still').forEach((one) => add('still', one.className.replace(/mark still /, ''), one.textContent.replace(/[0-9]+/, '')));
            document.querySelectorAll('#stills-in .card').forEach((one) => add('card', one.className, one.querySelector('span').textContent + (one.querySelector('.doubt') ? ', in doubt' : '')));
            return told";
        let told = page.run(signs).await;
        for kind in ["question", "view", "still", "card"] {
            let states = told[kind].as_object().unwrap_or_else(|| panic!("{kind}: {told}"));
            let mut seen: Vec<&Value> = Vec::new();
            for (state, signs) in states {
                let signs = signs.as_array().unwrap();
                assert!(signs.iter().all(|sign| sign == &signs[0]), "{kind} {state}: {signs:?}");
                let doubt = |state: &str| state.contains("ambiguous") || state.contains("unlabelled");
                // On the line a still is either certain or in doubt; its words say the rest.
                assert!(
                    kind == "still" || !seen.contains(&&signs[0]),
                    "{kind} {state} looks like another: {told}"
                );
                assert!(kind != "still" || doubt(state) == (signs[0] == "?"), "{state}: {told}");
                seen.push(&signs[0]);
            }
        }
    });
}

#[test]
fn on_a_dark_system_the_desk_and_the_inbox_are_dark_and_the_checker_finds_nothing() {
    run(async {
        let folder = tempfile::tempdir().unwrap();
        std::fs::rename(exam().keep(), folder.path().join("juniper")).unwrap();
        copy(&earlier(), &folder.path().join("juniper-march"));
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = driver.dark().await;
        page.open(&served.address).await;
        page.until("document.querySelectorAll('a.exam').length === 2").await;
        // Only the later exam has one before it.
        assert_eq!(page.run("return document.querySelectorAll('a.course').length").await, 1);
        let course = page.text("li:has(a[href='e/juniper/']) a.course").await;
        assert_eq!(course, "Course of Juniper (PDF)");
        let kind = "const done = arguments[0]; fetch(document.querySelector('a.course').href).then((answer) => done(answer.headers.get('content-type')))";
        assert_eq!(page.0.execute_async(kind, Vec::new()).await.unwrap(), "application/pdf");
        assert_eq!(page.run("return matchMedia('(prefers-color-scheme: dark)').matches").await, true);
        let paper = "return getComputedStyle(document.body).backgroundColor";
        assert_eq!(page.run(paper).await, "rgb(15, 20, 19)");
        no_faults(&page, "the inbox").await;
        page.click("a.exam").await;
        loaded(&page).await;
        assert_eq!(page.run(paper).await, "rgb(15, 20, 19)");
        no_faults(&page, "the desk").await;
        words_lit(&page).await;
        page.find("#by").await.send_keys("Robin").await.unwrap();
        page.run("document.querySelector('#bench').focus()").await;
        page.press("a").await;
        page.until("document.querySelector('#changes-in tbody tr')").await;
        no_faults(&page, "words about a change").await;
        page.click("#words-open").await;
        page.until("document.querySelector('#form[open]')").await;
        no_faults(&page, "the form").await;
    });
}
