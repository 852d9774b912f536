.PHONY: setup demo test bench

# Tools, the speech engine and its model, once.
setup:
	@scripts/setup.sh

# The main job on real audio: two spoken exams heard, paired with their stills, checked and reported.
demo: setup
	@scripts/demo.sh

# Everything, the real engine included.
test: setup
	cargo test --release

# Speed and memory beside a reference, measured in the same run.
bench: setup
	cargo bench
