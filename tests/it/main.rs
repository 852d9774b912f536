//! Everything that needs no sound: one binary, so that the libraries are linked once.
#![allow(
    unreachable_pub,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss
)] // tests may panic

#[path = "../support/mod.rs"]
mod support;

mod answer;
mod archive;
mod archive_command;
mod ask;
mod screen_view;
mod stakes;
mod stream;
mod second_screen;
mod bounds;
mod cases;
mod cautions;
mod chores;
mod circles;
mod cli;
mod clocks;
mod compare;
mod demo;
mod demo_stills;
mod course;
mod dialogue;
mod doubts;
mod dialogue_laws;
mod dialogue_reach;
mod early;
mod fold;
mod frames;
mod fuzz;
mod hear;
mod horse_name;
mod identity;
mod journal;
mod journal_bounds;
mod knowledge;
mod language;
mod first_page;
mod language_asked;
mod language_instead;
mod language_phrases;
mod language_plainly;
mod language_places;
mod language_strangers;
mod language_ways;
mod live_exam;
mod measure;
mod measure_command;
mod measure_laws;
mod moved;
mod one_listener;
mod other_file;
mod neural;
mod notes;
mod neural_adapt;
mod neural_search;
mod neural_confidence;
mod prompt;
mod other_reader;
mod other_stills;
mod over_own_voice;
mod own_words;
mod owner;
mod pair;
mod people;
mod known_scanner;
mod pair_folder;
mod pair_simulated;
mod pair_spoken;
mod pair_stamps;
mod whole_exam;
mod picture;
mod print;
mod print_judge;
mod protocol;
mod denoise;
mod docs;
mod retention;
mod review;
mod review_address;
mod review_browser;
mod review_events;
mod review_inbox;
mod review_measure;
mod room;
mod rules;
mod schema;
mod seal;
mod second_place;
mod set_for_exam;
mod settled;
mod sign;
mod simulated;
mod spreadsheet;
mod report;
mod report_contrast;
mod report_measures;
mod terminal;
mod tidy;
mod time_stamp;
mod torn;
mod trace;
mod usage;
mod encryption;
mod evaluation;
mod voice_activity;
mod exchange;
mod vosk;
mod watch;
