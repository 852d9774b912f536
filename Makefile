.PHONY: setup demo test bench train

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

# The head of the neural ear, from nothing: hours on two cores, about ten minutes on sixteen and a GPU.
train:
	@train/run.sh
