//! No two files of `src/` need each other, and no name is given to two public types.
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

type Module = Vec<String>;

/// What a path in the source is read from: `crate::a::{b, c::D}` is three paths.
struct Reader<'a> {
    text: &'a str,
}

impl Reader<'_> {
    fn eats(&mut self, what: &str) -> bool {
        let rest = self.text.trim_start().strip_prefix(what);
        self.text = rest.unwrap_or(self.text);
        rest.is_some()
    }

    fn name(&mut self) -> String {
        let text = self.text.trim_start();
        let end = text.find(|c: char| !(c.is_alphanumeric() || c == '_')).unwrap_or(text.len());
        self.text = &text[end..];
        text[..end].to_owned()
    }

    fn paths(&mut self, before: &[String], found: &mut Vec<Module>) {
        if self.eats("{") {
            while !self.eats("}") && !self.text.trim_start().is_empty() {
                self.paths(before, found);
                if self.eats("as ") {
                    self.name();
                }
                self.eats(",");
            }
            return;
        }
        let path = [before, &[self.name()]].concat();
        if self.eats("::") { self.paths(&path, found) } else { found.push(path) }
    }
}

/// The module that a file is: `exam/fold.rs` is `exam::fold`, `exam/mod.rs` is `exam`.
fn module(file: &Path) -> Module {
    let parts = file.with_extension("");
    let names = parts.components().map(|part| part.as_os_str().to_string_lossy().into_owned());
    names.filter(|name| name != "mod").collect()
}

/// The source without comments and without its own tests.
fn code(text: &str) -> String {
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    code.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

/// The paths that a source names, from the root of the crate.
fn named(own: &Module, is_folder: bool, children: &BTreeSet<String>, code: &str) -> Vec<Module> {
    let mut found = Vec::new();
    for (at, _) in code.match_indices("::") {
        let start = code[..at].rfind(|c: char| !(c.is_alphanumeric() || c == '_')).map_or(0, |at| at + 1);
        if code[..start].ends_with(':') {
            continue;
        }
        let folder = if is_folder { own.clone() } else { own[..own.len() - 1].to_vec() };
        let root = match &code[start..at] {
            "crate" => Vec::new(),
            "self" => own.clone(),
            "super" if is_folder => own[..own.len() - 1].to_vec(),
            "super" => folder,
            child if is_folder && children.contains(child) => [own.clone(), vec![child.to_owned()]].concat(),
            _ => continue,
        };
        let mut reader = Reader { text: &code[at + 2..] };
        reader.paths(&root, &mut found);
    }
    found
}

/// Which file of `sources` needs which others.
fn needs(sources: &BTreeMap<PathBuf, String>) -> BTreeMap<PathBuf, BTreeSet<PathBuf>> {
    let files: BTreeMap<Module, &PathBuf> = sources.keys().map(|file| (module(file), file)).collect();
    let needed = |file: &PathBuf, text: &String| {
        let own = module(file);
        let is_folder = file.ends_with("mod.rs");
        let inside = files.keys().filter(|path| path.len() == own.len() + 1 && path.starts_with(&own));
        let children = inside.filter_map(|path| path.last().cloned()).collect();
        let mut needed = BTreeSet::new();
        for path in named(&own, is_folder, &children, &code(text)) {
            let target = (1..=path.len()).rev().find_map(|length| files.get(&path[..length]));
            needed.extend(target.filter(|target| ***target != *file).map(|target| (*target).clone()));
        }
        needed
    };
    sources.iter().map(|(file, text)| (file.clone(), needed(file, text))).collect()
}

/// A way from a file back to itself.
fn circle(needs: &BTreeMap<PathBuf, BTreeSet<PathBuf>>) -> Option<Vec<PathBuf>> {
    fn back(
        needs: &BTreeMap<PathBuf, BTreeSet<PathBuf>>,
        way: &mut Vec<PathBuf>,
        seen: &mut BTreeSet<PathBuf>,
    ) -> bool {
        let last = way.last().cloned().unwrap();
        for next in needs.get(&last).into_iter().flatten() {
            if *next == way[0] {
                return true;
            }
            if seen.insert(next.clone()) {
                way.push(next.clone());
                if back(needs, way, seen) {
                    return true;
                }
                way.pop();
            }
        }
        false
    }
    needs.keys().find_map(|file| {
        let mut way = vec![file.clone()];
        back(needs, &mut way, &mut BTreeSet::new()).then_some(way)
    })
}

fn read(folder: &Path, root: &Path, found: &mut BTreeMap<PathBuf, String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            read(&path, root, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            let file = path.strip_prefix(root).unwrap().to_owned();
            found.insert(file, std::fs::read_to_string(&path).unwrap());
        }
    }
}

/// The files of `src/`, without the two at its root that name everything.
fn sources() -> BTreeMap<PathBuf, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = BTreeMap::new();
    read(&root, &root, &mut found);
    found.retain(|file, _| !file.ends_with("lib.rs") && !file.ends_with("main.rs"));
    found
}

#[test]
fn no_two_files_need_each_other() {
    let sources = sources();
    assert!(sources.len() > 150, "{} files", sources.len());
    let circle = circle(&needs(&sources));
    assert_eq!(circle, None, "each of these files needs the next, and the last one the first");
}

/// The scripts of the desk's pages.
fn scripts() -> BTreeMap<PathBuf, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/review/page");
    let paths = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let scripts = paths.filter(|path| path.extension().is_some_and(|ending| ending == "js"));
    let read =
        |path: PathBuf| (PathBuf::from(path.file_name().unwrap()), std::fs::read_to_string(&path).unwrap());
    scripts.map(read).collect()
}

#[test]
fn no_two_scripts_of_the_desk_need_each_other_and_none_is_too_long_to_read() {
    let scripts = scripts();
    let imported = |text: &str| {
        let names = text.split("from \"./").skip(1).filter_map(|rest| rest.split('"').next());
        names.map(PathBuf::from).collect::<BTreeSet<PathBuf>>()
    };
    let needs: BTreeMap<PathBuf, BTreeSet<PathBuf>> =
        scripts.iter().map(|(name, text)| (name.clone(), imported(text))).collect();
    assert!(needs[Path::new("desk.js")].contains(Path::new("bench.js")), "{needs:?}");
    assert_eq!(circle(&needs), None, "each of these scripts needs the next, and the last one the first");
    let long: Vec<_> =
        scripts.iter().filter(|(_, text)| text.lines().count() > 500).map(|one| one.0).collect();
    assert!(long.is_empty(), "cut these in two: {long:?}");
}

#[test]
fn the_test_sees_a_circle_in_each_way_of_writing_one() {
    let pair = |one: &str, other: &str| {
        let sources = [("a/mod.rs", "mod one;\nmod other;"), ("a/one.rs", one), ("a/other.rs", other)];
        circle(&needs(&sources.map(|(file, text)| (PathBuf::from(file), text.to_owned())).into())).is_some()
    };
    assert!(pair("use crate::a::other::X;", "use super::one::Y;"));
    assert!(pair("use crate::{a::{other as o}};", "fn y() { crate::a::one::y() }"));
    assert!(!pair("use crate::a::other::X;", "// crate::a::one\nuse std::one;"));
    let folder = [("a/mod.rs", "mod one;\npub use one::X;"), ("a/one.rs", "use super::Y;")];
    assert!(
        circle(&needs(&folder.map(|(file, text)| (PathBuf::from(file), text.to_owned())).into())).is_some()
    );
}

/// The public types of a source, also those that only their folder sees and those that a macro writes.
fn types(text: &str) -> impl Iterator<Item = &str> {
    let is_public = |line: &&str| line.starts_with("pub") && !line.contains('$');
    let public = text.lines().map(str::trim_start).filter(is_public);
    let sets = text.split("closed_set! {").skip(1).filter_map(|body| {
        let head = body.lines().map(str::trim).find(|line| !line.is_empty() && !line.starts_with(['#', '/']));
        head?.strip_suffix(" {")
    });
    let written = public.filter_map(|line| {
        let mut words =
            line.split(|c: char| !(c.is_alphanumeric() || c == '_')).filter(|word| !word.is_empty());
        words
            .find(|word| ["struct", "enum", "trait", "type", "fn", "use", "mod", "const"].contains(word))
            .filter(|word| ["struct", "enum", "trait", "type"].contains(word))?;
        words.next()
    });
    written.chain(sets)
}

/// A file `no_X.rs` beside `X.rs`: its types take the place of that file's where a feature is left out.
fn is_stand_in(file: &Path, sources: &BTreeMap<PathBuf, String>) -> bool {
    let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    name.strip_prefix("no_").is_some_and(|of| sources.contains_key(&file.with_file_name(of)))
}

#[test]
fn only_a_file_beside_the_one_it_takes_the_place_of_is_a_stand_in() {
    let sources = ["a/no_ear.rs", "a/ear.rs", "a/no_eye.rs", "b/eye.rs"];
    let sources = sources.map(|file| (PathBuf::from(file), String::new())).into();
    assert!(is_stand_in(Path::new("a/no_ear.rs"), &sources));
    assert!(!["a/ear.rs", "a/no_eye.rs"].iter().any(|file| is_stand_in(Path::new(file), &sources)));
}

#[test]
fn no_name_is_given_to_two_public_types() {
    let mut known: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
    let sources = sources();
    for (file, text) in sources.iter().filter(|(file, _)| !is_stand_in(file, &sources)) {
        for name in types(&code(text)) {
            known.entry(name.to_owned()).or_default().push(file.clone());
        }
    }
    assert!(
        known.len() > 200 && known.contains_key("Protocols") && known.contains_key("CallKind"),
        "{} types",
        known.len()
    );
    let twice: Vec<_> = known.into_iter().filter(|(_, files)| files.len() > 1).collect();
    assert!(twice.is_empty(), "give one of each another name: {twice:#?}");
}
