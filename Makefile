.PHONY: setup demo test bench

# Tools, the speech engine and its model; does nothing twice.
setup:
	@./scripts/setup.sh

# A spoken exam from audio to report, with no microphone and no horse.
demo: setup
	cargo run --release --quiet -- demo

# Everything, the real engine included.
test: setup
	cargo test --release

# Speed and memory beside the bare engine, measured in the same run.
bench: setup
	cargo bench
