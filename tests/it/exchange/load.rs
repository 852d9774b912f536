//! Many senders at once; one of them is killed, then the receiver is killed and started again.
//!
//! `make load` runs it with a thousand stills a sender.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::FileMetaTableBuilder;

use zonecall::exchange::network::InboxOutcome;

use super::peers::Receiving;
use super::stage::{files, still};

const SENDERS: usize = 8;

/// Stills of each sender.
fn each() -> usize {
    std::env::var("ZONECALL_LOAD").map_or(25, |number| number.parse().unwrap())
}

fn write_stills(folder: &Path, sender: usize) {
    for number in 0..each() {
        let mut still = still(1, 14.0);
        let name = PrimitiveValue::from(format!("2.25.3{sender:03}{number:04}"));
        still.put(DataElement::new(tags::SOP_INSTANCE_UID, VR::UI, name));
        let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
        still.with_meta(meta).unwrap().write_to_file(folder.join(format!("{number}.dcm"))).unwrap();
    }
}

/// Memory that a program holds, in kilobytes.
pub(super) fn memory_kb(child: &Child) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[test]
fn nothing_is_lost_and_nothing_is_there_twice_when_sender_and_receiver_are_killed() {
    let all = SENDERS * each();
    let source = tempfile::tempdir().unwrap();
    for sender in 0..SENDERS {
        let folder = source.path().join(sender.to_string());
        std::fs::create_dir(&folder).unwrap();
        write_stills(&folder, sender);
    }
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let send = |sender: usize, port: &str| {
        let folder = source.path().join(sender.to_string());
        Command::new("storescu")
            .args(["-aec", "ZONECALL", "127.0.0.1", port, "+sd", folder.to_str().unwrap()])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap()
    };
    let mut senders: Vec<Child> = (0..SENDERS).map(|sender| send(sender, &receiving.port)).collect();
    receiving.await_log(|log| log.len() >= all / 10);
    senders[0].kill().unwrap();
    receiving.await_log(|log| log.len() >= all / 4);
    drop(receiving);
    for sender in &mut senders {
        sender.wait().unwrap();
    }
    std::fs::write(into.path().join(".receiving/99.part"), b"half").unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let mut senders: Vec<Child> = (0..SENDERS).map(|sender| send(sender, &receiving.port)).collect();
    let before = receiving.log().len();
    receiving.await_log(|log| log.len() >= before + all / 10);
    let early = memory_kb(&receiving.child);
    for sender in &mut senders {
        assert_eq!(sender.wait().unwrap().code(), Some(0));
    }
    let late = memory_kb(&receiving.child);
    // Room for what the system's allocator keeps; what is received is not held.
    assert!(late < early + 32_000, "{early} kB early, {late} kB at the end");
    assert_eq!(files(into.path()).len(), all);
    let log = receiving.log();
    assert!(log.iter().all(|row| row.outcome != InboxOutcome::Beside));
    let kept: BTreeSet<_> =
        log.iter().filter(|row| row.outcome == InboxOutcome::Kept).map(|row| &row.instance).collect();
    // A still that was kept just before the kill may lack its line; then it was known the second time.
    assert!(kept.len() + 2 * SENDERS >= all, "{}", kept.len());
    assert_eq!(std::fs::read_dir(into.path().join(".receiving")).unwrap().count(), 1, "only the lock");
    eprintln!("{all} stills, memory {early} kB early and {late} kB at the end");
}
