//! The house is tidy: each folder uses only what stands before it, and no file grows too long to read.
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use zonecall::protocol::Protocols;

/// The folders in the order in which an exam flows through them; `lib.rs` lists them in the same order.
fn order() -> Vec<String> {
    let lib = std::fs::read_to_string(root().join("src/lib.rs")).unwrap();
    let name = |line: &str| Some(line.strip_prefix("pub mod ")?.strip_suffix(';')?.to_owned());
    lib.lines().filter_map(name).collect()
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

pub(crate) fn all(folders: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    folders.iter().for_each(|folder| sources(&root().join(folder), &mut found));
    found
}

/// The module of `src/` that a file belongs to: `src/exam/fold.rs` to `exam`, `src/clock.rs` to `clock`.
fn module(path: &Path) -> String {
    let inside = path.strip_prefix(root().join("src")).unwrap();
    let first = inside.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
    first.trim_end_matches(".rs").to_owned()
}

/// What a source names of the crate: `crate::exam::call` is `exam`.
fn used(text: &str) -> Vec<&str> {
    text.split("crate::")
        .skip(1)
        .map(|rest| rest.split(|c: char| !(c.is_alphanumeric() || c == '_')).next().unwrap_or(""))
        .collect()
}

#[test]
fn a_folder_uses_only_folders_that_come_before_it() {
    let order = order();
    assert!(order.len() >= 9, "lib.rs lists {order:?}");
    let rank = |name: &str| order.iter().position(|known| known == name);
    for path in all(&["src"]) {
        let Some(own) = rank(&module(&path)) else { continue };
        let text = std::fs::read_to_string(&path).unwrap();
        for name in used(&text) {
            if let Some(other) = rank(name) {
                assert!(other <= own, "{} uses `{name}`, which comes after `{}`", path.display(), order[own]);
            }
        }
    }
}

#[test]
fn every_folder_of_src_stands_in_lib_rs() {
    let order = order();
    for path in all(&["src"]) {
        let module = module(&path);
        assert!(
            order.contains(&module) || module == "lib" || module == "main",
            "`{module}` is not in lib.rs"
        );
    }
}

#[test]
fn the_test_sees_a_use_that_goes_backwards() {
    let order = order();
    let rank = |name: &str| order.iter().position(|known| known == name).unwrap();
    let names = used("use crate::knowledge::record::Record;\nlet x = crate::hex(&[]);");
    assert_eq!(names, ["knowledge", "hex"]);
    assert!(rank(names[0]) > rank("exam"));
}

#[test]
fn no_file_is_longer_than_500_lines_and_each_says_what_it_is_for() {
    for path in all(&["src", "tests", "tools", "benches"]) {
        let text = std::fs::read_to_string(&path).unwrap();
        let lines = text.lines().count();
        assert!(lines <= 500, "{} has {lines} lines: cut it in two", path.display());
        assert!(
            text.starts_with("//! "),
            "{} does not open with a sentence that says what it is for",
            path.display()
        );
    }
}

#[test]
fn a_printed_report_has_the_headings_of_the_page() {
    let pages: String =
        all(&["src/report"]).iter().map(|path| std::fs::read_to_string(path).unwrap()).collect();
    let mut n_headings = 0;
    for template in ["owner.typ", "vet.typ"] {
        let text = std::fs::read_to_string(root().join("src/report/print").join(template)).unwrap();
        let headings = text.lines().filter_map(|line| line.trim().strip_prefix("== "));
        for heading in headings.filter(|heading| !heading.starts_with('#')) {
            assert!(pages.contains(&format!("h2 {{ \"{heading}\"")), "{template}: no page says `{heading}`");
            n_headings += 1;
        }
    }
    assert!(n_headings >= 15, "only {n_headings} headings");
}

#[test]
fn the_tests_that_a_file_names_in_its_head_are_there() {
    for path in all(&["src"]) {
        let text = std::fs::read_to_string(&path).unwrap();
        let head = text.lines().take_while(|line| line.starts_with("//!"));
        for named in head.flat_map(|line| line.split('`')).filter(|part| part.starts_with("tests/")) {
            assert!(root().join(named).exists(), "{} names {named}, which is not there", path.display());
        }
    }
}

/// A pipe that lies in a folder under the name of a file would be waited for without end.
#[test]
fn what_is_found_in_a_folder_is_opened_as_a_plain_file() {
    let folders = ["src/exam", "src/frames", "src/encryption"];
    let opens = ["File::open(", "fs::read(", "fs::read_to_string("];
    for path in all(&folders).into_iter().chain([root().join("src/exam_folder.rs")]) {
        // Files that a person names may be pipes, too; these look first.
        if ["decrypt.rs", "keys.rs"].iter().any(|named| path.ends_with(named)) {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap_or_default();
        let bare = code.lines().find(|line| opens.iter().any(|open| line.contains(open)));
        assert_eq!(bare, None, "{} opens what may be a pipe, and not by `plain_file`", path.display());
    }
}

/// What is kept is for its owner alone, as SECURITY.md says.
#[test]
fn folders_and_files_are_made_by_private() {
    let others = [("create_dir_all(", "src/cli/manual.rs"), ("fs::write(", "src/speech/sphinx.rs")];
    for path in all(&["src"]) {
        let text = std::fs::read_to_string(&path).unwrap();
        let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
        for (bare, allowed) in others {
            let is_allowed = path.ends_with(allowed);
            assert!(is_allowed || !code.contains(bare), "{} calls `{bare}...)`", path.display());
        }
    }
}

#[test]
fn unsafe_code_is_found_at_the_two_c_libraries_only() {
    for path in all(&["src"]) {
        let text = std::fs::read_to_string(&path).unwrap();
        let opens = text.contains("allow(unsafe_code)");
        let binding =
            ["speech/sphinx_sys.rs", "speech/voice_activity.rs"].iter().any(|name| path.ends_with(name));
        assert_eq!(opens, binding, "{}", path.display());
    }
}

/// Where a path or a line may go out as it is, each with the reason.
const RAW: [&str; 4] = [
    "terminal.rs",
    // The decoder's process writes pixels, and one line to the program that started it.
    "report/apart.rs",
    // Names of files as data: in the list of what came in, in a key of the cache.
    "exchange/network/visit.rs",
    "review/cache.rs",
];

#[test]
fn names_and_lines_reach_a_terminal_only_as_plain_text() {
    for path in all(&["src"]).iter().filter(|path| RAW.iter().all(|raw| !path.ends_with(raw))) {
        let text = std::fs::read_to_string(path).unwrap().replace("stdout().is_terminal()", "");
        let code: String = text.lines().filter(|line| !line.trim_start().starts_with("//")).collect();
        for raw in [".display()", "println!", "eprint!", "io::stdout()", "io::stderr()"] {
            assert!(!code.contains(raw), "{} has `{raw}`: take what src/terminal.rs gives", path.display());
        }
    }
}

/// The text between quotes on each line of code: no comments, no unit tests, no names of files.
pub(crate) fn literals(text: &str) -> Vec<&str> {
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    let lines = code.lines().map(str::trim).filter(|line| !line.starts_with("//") && !line.contains(".toml"));
    lines.flat_map(|line| line.split('"').skip(1).step_by(2)).collect()
}

fn words(literal: &str) -> impl Iterator<Item = &str> {
    literal.split(|c: char| !(c.is_alphanumeric() || c == '-'))
}

/// Files whose fields of these names are no codes, each with the reason.
const NO_CODES: [&str; 5] = [
    // What a person typed, before it is known to be a code.
    "cli/archive.rs",
    "cli/enter.rs",
    "cli/trace.rs",
    // Names in words, for people to read.
    "report/data/lines.rs",
    "report/owner.rs",
];

/// Fields of a struct or a variant that hold a code as bare text, or the number of a line as a bare number.
fn bare_codes(text: &str) -> Vec<&str> {
    let is_bare = |line: &&str| {
        let field = line.trim_start_matches("pub(crate) ").trim_start_matches("pub(super) ");
        let Some((name, kind)) = field.trim_start_matches("pub ").split_once(": ") else { return false };
        let named = ["limb", "zone", "to_zone", "plane", "structure"].contains(&name);
        let line = ["seq", "heard_seq", "call_seq", "next_seq"].contains(&name);
        named && ["String,", "Option<String>,", "&'a String,"].contains(&kind)
            || line && ["u64,", "Option<u64>,"].contains(&kind)
    };
    text.lines().map(str::trim).filter(is_bare).collect()
}

#[test]
fn a_field_for_a_code_has_the_type_of_its_code() {
    for path in all(&["src"]) {
        if NO_CODES.iter().any(|known| path.ends_with(known)) {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let bare = bare_codes(&text);
        assert!(bare.is_empty(), "{} has {bare:?}: take the types of src/code.rs and `Seq`", path.display());
    }
}

#[test]
fn the_test_sees_a_code_that_is_bare_text() {
    let text = "    pub limb: String,\n    pub zone: Option<ZoneCode>,\n    structure: Option<String>,\n    seq: u64,";
    assert_eq!(bare_codes(text), ["pub limb: String,", "structure: Option<String>,", "seq: u64,"]);
}

/// `limb`, `zone`, `plane`, `structure`, `lesion` are the record's own fields; what fills them is data.
#[test]
fn no_limb_zone_structure_or_scheme_is_named_in_the_code() {
    let protocols = Protocols::built_in().unwrap();
    let mut clinical: BTreeSet<String> = BTreeSet::new();
    for limb in &protocols.limbs {
        clinical.extend([limb.code.to_string(), limb.group.clone()]);
        clinical.extend(limb.foreign_positions.clone());
    }
    for structure in &protocols.structures {
        clinical.insert(structure.code.to_string());
        clinical.extend(structure.name.split_whitespace().filter(|word| word.len() > 6).map(str::to_owned));
    }
    for scheme in &protocols.schemes {
        clinical.extend([scheme.name.clone(), scheme.region.clone()]);
        clinical.extend(scheme.zones.iter().map(|zone| zone.code.to_string()));
    }
    // Also value representations of DICOM.
    clinical.remove("SL");
    clinical.remove("CS");
    assert!(clinical.len() > 40 && clinical.contains("SDFT") && clinical.contains("2A"), "{clinical:?}");
    for path in all(&["src"]) {
        let text = std::fs::read_to_string(&path).unwrap();
        // An example in the help may name a limb; it teaches, it decides nothing.
        for literal in literals(&text).into_iter().filter(|literal| !literal.contains("zonecall ")) {
            let found = words(literal).find(|word| clinical.contains(*word));
            assert_eq!(found, None, "{} says \"{literal}\": take it from the protocols", path.display());
        }
    }
    assert_eq!(literals("let x = \"on 2A\"; // \"3B\"")[0], "on 2A");
}
