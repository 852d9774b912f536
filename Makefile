.PHONY: setup demo test test-sound load lint box deb try-deb simulate fuzz night cuts soak bench bench-ear fit-ear train

# Everything that building and testing need, once; after it `cargo build` and `cargo test` work by themselves.
setup:
	@scripts/setup.sh

# The main job on real audio: a spoken exam heard, paired with its stills, checked and reported. Sets up only what that needs.
demo:
	@scripts/setup.sh demo
	@scripts/demo.sh

# Everything but the live microphone, the real engine included.
test: setup
	cargo test --release --lib --bins --test it
	cargo test --release --doc

# A live microphone, played by PulseAudio's null sink, in real time: ten minutes. Some of these fail; DEVELOPERS.md names them.
test-sound: setup
	cargo test --release --test sound

# Eight senders with a thousand stills each, one of them killed, the receiver killed once: minutes.
load: setup
	ZONECALL_LOAD=1000 cargo test --release --test it exchange::load -- --nocapture

# Five thousand whole exams with power cuts, full disks and clocks that are set, against what must survive: minutes.
exams ?= 5000
simulate:
	ZONECALL_EXAMS=$(exams) cargo test --release --test it simulated -- --nocapture

# Damaged input for everything that is read, five minutes for each of fifteen readers, other input on each day.
fuzz_s ?= 300
fuzz: setup
	ZONECALL_FUZZ_S=$(fuzz_s) ZONECALL_FUZZ_SEED=$$(date +%Y%m%d) cargo test --release --test it fuzz -- --nocapture

# What takes a night: twenty thousand simulated exams, five minutes of fuzzing for each reader, a whole exam live in real time
# under load, latency under load. Each part adds its row to benches/NIGHT.md; `scripts/night.sh exam` runs one of them.
night: setup
	cargo build --release --bin zonecall --bin demo_stills
	scripts/night.sh

# A thousand kills and two hundred power cuts while an exam is heard; the cuts need root, for a loop device.
cuts:
	cargo build --release
	scripts/cuts.py kills 1000
	scripts/cuts.py power 200

# A day of sound and an exam of five thousand calls, heard as fast as they are taken.
soak:
	cargo build --release
	scripts/soak.py hours 24
	scripts/soak.py calls 5000

# Scripts, the Python of the training, and licences, duplicates and sources of the dependencies.
lint:
	@scripts/lint.sh

# The program for a small box, without desk, archive, PDF, PocketSphinx and Vosk: built, tried on the demo, measured.
box:
	@scripts/setup.sh box
	@scripts/try_box.sh

# The Debian package, in out/deb/.
deb:
	@scripts/setup.sh deb
	@scripts/deb.sh

# The package in a clean Debian without a network: installed, tried on the demo, removed. As root.
try-deb:
	@scripts/try_deb.sh

# Speed and memory beside a reference, measured in the same run.
bench: setup
	cargo bench --bench append --bench pair --bench archive --bench hear --bench desk --bench latency --bench exchange

# The neural ear on whole recordings, as an exam is heard (train/streamset.py makes them; minutes on two cores), and,
# where the test sets are (folders of WAV files with truth.tsv), all ears one utterance a file. All judged by meaning;
# `every=15` takes each fifteenth utterance, `slow=15` each fifteenth for PocketSphinx, which takes twenty times as long.
ear_test ?= .ear/test .ear/test-talk
ear_stream ?= .ear/stream
every ?= 1
slow ?= 15
bench-ear: setup $(ear_stream)/streams.tsv
	cargo bench --bench stream -- $(abspath $(ear_stream)) --out $(abspath benches/EAR.md)
	if [ -f "$(firstword $(ear_test))/truth.tsv" ]; then cargo bench --bench ear -- $(abspath $(ear_test)) --every $(every) --slow $(slow) --out $(abspath benches/EAR.md); fi

$(ear_stream)/streams.tsv: grammars/en/exam.gram train/streamset.py train/streamset.sh
	@train/streamset.sh $(ear_stream)

# The neural ear's trust in its readings, fitted again on recordings of the tuning voices: needed for every new head.
ear_tune ?= .ear/tune
fit-ear: setup $(ear_tune)/streams.tsv
	cargo run --release --example stream_ear -- $(ear_tune) --cases $(ear_tune)/cases.jsonl > $(ear_tune)/heard.txt
	cargo run --release --example fit_ear -- $(ear_tune)/cases.jsonl models/en/calibration.json

$(ear_tune)/streams.tsv: train/tuneset.py train/streamset.py train/unseen.txt train/near.txt train/alike.txt train/voices.toml
	@train/streamset.sh $(ear_tune) tune

# The head of the neural ear, from nothing: hours on two cores, about ten minutes on sixteen and a GPU.
train:
	@train/run.sh
