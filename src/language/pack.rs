//! The grammar pack: the files of one language, read once.
//!
//! Takes: `exam.gram`, `words.dict` and what lies beside them in a folder such as `grammars/en`, or the ones built in.
//! Gives: `Pack`, and from it a `Language` cut to the zones of one exam.
//! Never: meaning; tags are handed on as text.
//! Tested in: `tests/it/language.rs`.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use sha2::{Digest, Sha256};

use crate::language::automaton::Automaton;
use crate::language::engine::{EngineLanguage, Pronunciation};
use crate::language::fault::{Fault, FilePlace};
use crate::language::grammar::{Grammar, GrammarNode, GrammarRule, collect};
use crate::language::jsgf;
use crate::language::on_demand_graph::{OnDemandGraph, ZonesByLimb};
use crate::language::own::{OwnPhrase, OwnWords, added};
use crate::language::tags;
use crate::language::usage::Usage;
use crate::plain_file;
use crate::terminal::ShownText as _;

/// The rule that says what can be said during an exam.
pub const EXAM_RULE: &str = "exam";
/// The rule that says a number.
pub const NUMBER_RULE: &str = "number";
/// The rule that says what answers a question of the program; a language without it cannot be asked.
pub const ANSWER_RULE: &str = "answer";

/// The rule that puts the call word before `EXAM_RULE`; no file can define one of this name.
const CALLED_RULE: &str = "exam, called";

/// The files of one language.
#[derive(Debug, Clone)]
pub struct Pack {
    /// Name of the language: the folder's name, such as `en`.
    pub language: String,
    /// The grammar, with the zones of all schemes.
    pub grammar: Grammar,
    /// A smaller grammar for an ear that cannot carry the whole one; none where the folder has no `core.gram`.
    pub core: Option<Grammar>,
    /// How words sound that the engine's own dictionary lacks or says otherwise.
    pub pronunciations: Vec<Pronunciation>,
    /// How often words follow each other when somebody scans; none where the folder has no `usage.txt`.
    pub usage: Option<Arc<Usage>>,
    /// Phrases to try a microphone with; empty where the folder has no `setup.txt`.
    pub setup_phrases: Vec<String>,
    /// Phrases that a person reads so that an ear learns their voice.
    pub enrol: EnrolScript,
    /// The practice's own phrases.
    pub own: Vec<OwnPhrase>,
    /// SHA-256 over the files that decide what is heard, in hexadecimal.
    pub sha256: String,
}

/// What a person reads to enrol; empty where the folder has no `enrol.txt`.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct EnrolScript {
    /// Phrases to learn from: those before the first empty line of the file.
    pub learn: Vec<String>,
    /// Other phrases, to find out whether it helped.
    pub judge: Vec<String>,
}

impl EnrolScript {
    fn read(text: &str) -> Self {
        let (learn, judge) = text.trim().split_once("\n\n").unwrap_or((text, ""));
        Self { learn: lines(learn), judge: lines(judge) }
    }
}

fn lines(text: &str) -> Vec<String> {
    text.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

/// What can be said in one exam.
#[derive(Debug, Clone)]
pub struct Language {
    /// The grammar, cut to the exam's zones.
    pub grammar: Grammar,
    /// Reads calls and answers.
    pub exam: Arc<Automaton>,
    /// Sounds that are passed over inside a phrase.
    pub hesitations: BTreeSet<String>,
    /// Endings of words and the word that each is short for.
    pub endings: Vec<(String, String)>,
    /// The same for an engine.
    pub engine: EngineLanguage,
}

/// Why a pack cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PackError {
    /// A file cannot be read.
    #[error("cannot read `{path}`: {source}; a grammar folder holds `exam.gram` and `words.dict`", path = path.shown())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// A file is wrong.
    #[error(transparent)]
    Fault(#[from] Box<Fault>),
    /// The practice's own words cannot be read.
    #[error("cannot read your own words in `{path}`: {source}; name another file with --own-words", path = path.shown())]
    ReadOwn {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// A line of the practice's own words is wrong.
    #[error(transparent)]
    Own(Box<Fault>),
}

impl Pack {
    /// The English pack that is built into the program.
    ///
    /// # Errors
    /// Only if the files in the source tree are wrong, which the tests rule out.
    pub fn built_in() -> Result<Self, PackError> {
        let grammar = include_str!("../../grammars/en/exam.gram");
        let words = include_str!("../../grammars/en/words.dict");
        let core = core(Path::new("grammars/en"), include_str!("../../grammars/en/core.gram"))?;
        let usage = include_str!("../../grammars/en/usage.txt");
        let setup_phrases = lines(include_str!("../../grammars/en/setup.txt"));
        let enrol = EnrolScript::read(include_str!("../../grammars/en/enrol.txt"));
        Ok(Self {
            core: Some(core),
            setup_phrases,
            enrol,
            ..Self::from_text(Path::new("grammars/en"), grammar, words, Some(usage))?
        })
    }

    /// Reads the pack in `folder`.
    ///
    /// # Errors
    /// When a file is missing or wrong.
    pub fn read(folder: &Path) -> Result<Self, PackError> {
        let text = |name: &str| {
            let path = folder.join(name);
            plain_file::read_to_string(&path).map_err(|source| PackError::Read { path, source })
        };
        let core = match text("core.gram") {
            Ok(text) => Some(core(folder, &text)?),
            Err(_) => None,
        };
        let usage = match text("usage.txt") {
            Err(PackError::Read { source, .. }) if source.kind() == std::io::ErrorKind::NotFound => None,
            read => Some(read?),
        };
        let setup_phrases = lines(&text("setup.txt").unwrap_or_default());
        let enrol = EnrolScript::read(&text("enrol.txt").unwrap_or_default());
        Ok(Self {
            core,
            setup_phrases,
            enrol,
            ..Self::from_text(folder, &text("exam.gram")?, &text("words.dict")?, usage.as_deref())?
        })
    }

    fn from_text(folder: &Path, grammar: &str, words: &str, usage: Option<&str>) -> Result<Self, PackError> {
        let grammar_file = folder.join("exam.gram");
        let tree = jsgf::read(&grammar_file, grammar)?;
        if !tree.rule(EXAM_RULE).is_some_and(|rule| rule.public) {
            let place = FilePlace { line: 1, column: 1 };
            let message = "the file has no rule `public <exam>`; that rule says what can be spoken";
            return Err(Box::new(Fault::new(&grammar_file, grammar, place, message)).into());
        }
        if let Some((place, message)) = wrong_tag(&tree) {
            return Err(Box::new(Fault::new(&grammar_file, grammar, place, message)).into());
        }
        let pronunciations = dictionary(&folder.join("words.dict"), words)?;
        let mut hash = Sha256::new();
        hash.update(grammar);
        hash.update(words);
        hash.update(usage.unwrap_or_default());
        let usage = usage.map(|usage| Usage::read(&folder.join("usage.txt"), usage)).transpose()?;
        let language =
            folder.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let sha256 = crate::hex(&hash.finalize());
        Ok(Self {
            language,
            grammar: tree,
            core: None,
            usage: usage.map(Arc::new),
            pronunciations,
            setup_phrases: Vec::new(),
            enrol: EnrolScript::default(),
            own: Vec::new(),
            sha256,
        })
    }

    /// Whether the pack only shows how one is written: its first rule says `@sample`.
    #[must_use]
    pub fn is_sample(&self) -> bool {
        self.grammar.rule(EXAM_RULE).is_some_and(|rule| rule.comment.lines().any(|line| line == "@sample"))
    }

    /// The same language, in which only what begins with the words of `call` is acted on; answers need them not.
    ///
    /// `sounds` says how they sound, where the files of the language do not.
    #[must_use]
    pub fn called_by(mut self, call: &str, sounds: Vec<Pronunciation>) -> Self {
        let place = FilePlace { line: 1, column: 1 };
        let words = call.split_whitespace().map(|word| GrammarNode::Word(word.to_lowercase(), place));
        let body =
            GrammarNode::Sequence(words.chain([GrammarNode::Rule(EXAM_RULE.to_owned(), place)]).collect());
        for grammar in std::iter::once(&mut self.grammar).chain(&mut self.core) {
            let (name, comment, body) = (CALLED_RULE.to_owned(), String::new(), body.clone());
            grammar.rules.push(GrammarRule { name, public: false, comment, body, place });
        }
        self.pronunciations.extend(sounds);
        // What could be said belongs to the journal.
        self.sha256 = crate::hex(&Sha256::digest(format!("{} {call}", self.sha256)));
        self
    }

    /// The same language with the practice's own phrases, which sound as `sounds` says; those in `whole` are said only by
    /// themselves, not inside other phrases.
    ///
    /// # Errors
    /// The first line whose right side is no phrase that can have another name.
    pub fn with_own(
        mut self,
        own: &OwnWords,
        sounds: Vec<Pronunciation>,
        whole: &[OwnPhrase],
    ) -> Result<Self, PackError> {
        self.grammar = added(&self.grammar, own, whole).map_err(PackError::Own)?;
        self.pronunciations.extend(sounds);
        self.own.clone_from(&own.phrases);
        // What could be said belongs to the journal.
        self.sha256 = crate::hex(&Sha256::digest(format!("{} {}", self.sha256, own.text)));
        Ok(self)
    }

    /// What can be said in an exam in which each limb has the zones in `zones`.
    ///
    /// The grammar keeps the zones of all limbs; an engine is given those of the current limb.
    #[must_use]
    pub fn for_zones(&self, zones: &ZonesByLimb) -> Language {
        let keep = |tag: &str| {
            tag.strip_prefix("zone=").is_none_or(|zone| zones.values().any(|own| own.contains(zone)))
        };
        let grammar = self.grammar.pruned(&keep);
        let calls = if grammar.rule(CALLED_RULE).is_some() { CALLED_RULE } else { EXAM_RULE };
        let engine = |grammar: &Grammar, exam: &Arc<Automaton>, core| EngineLanguage {
            graph: OnDemandGraph::new(exam.clone(), zones),
            words: grammar.words(&[calls, ANSWER_RULE]),
            pronunciations: self.pronunciations.clone(),
            core,
            usage: self.usage.clone(),
        };
        let exam = |grammar: &Grammar| Arc::new(Automaton::new(grammar, &[&[calls], &[calls, ANSWER_RULE]]));
        let core = self.core.as_ref().map(|core| {
            let core = core.pruned(&keep);
            Box::new(engine(&core, &exam(&core), None))
        });
        let exam = exam(&grammar);
        let engine = engine(&grammar, &exam, core);
        let (hesitations, endings) = (grammar.hesitations(), grammar.endings());
        Language { exam, hesitations, endings, grammar, engine }
    }
}

/// Reads the smaller grammar of `folder`.
fn core(folder: &Path, text: &str) -> Result<Grammar, PackError> {
    let file = folder.join("core.gram");
    let tree = jsgf::read(&file, text)?;
    if tree.rule(EXAM_RULE).is_some_and(|rule| rule.public) {
        return Ok(tree);
    }
    let message = "the file has no rule `public <exam>`; that rule says what the smaller language allows";
    Err(Box::new(Fault::new(&file, text, FilePlace { line: 1, column: 1 }, message)).into())
}

/// The first tag that the program does not know.
fn wrong_tag(grammar: &Grammar) -> Option<(FilePlace, String)> {
    let mut found = None;
    for rule in &grammar.rules {
        collect(&rule.body, &mut |node| {
            if let GrammarNode::Tag(tag, place) = node
                && found.is_none()
            {
                found = tags::wrong(tag).map(|message| (*place, message));
            }
        });
    }
    found
}

/// Reads `word  PHONES` lines; `#` starts a comment.
fn dictionary(file: &Path, text: &str) -> Result<Vec<Pronunciation>, Box<Fault>> {
    let mut entries = Vec::new();
    for (idx, line) in text.lines().enumerate() {
        let said = line.split('#').next().unwrap_or("").trim();
        if said.is_empty() {
            continue;
        }
        let (word, phones) = said.split_once(char::is_whitespace).unwrap_or((said, ""));
        let phones = phones.split_whitespace().collect::<Vec<_>>().join(" ");
        if phones.is_empty() {
            let place = FilePlace { line: idx + 1, column: 1 };
            return Err(Box::new(Fault::new(file, text, place, format!("`{word}` has no phones after it"))));
        }
        entries.push(Pronunciation { word: word.to_owned(), phones, file: file.to_owned(), line: idx + 1 });
    }
    Ok(entries)
}
