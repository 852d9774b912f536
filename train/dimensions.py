"""The sizes of the speech encoder, for those who build it with PyTorch and those who have none."""
WIDTH, HEADS, INNER, LAYERS = 288, 8, 1152, 6
TURNED = 32  # of the 36 numbers of a head, this many carry the place in time
STRIDES, KERNELS = (64, 3, 2), (127, 7, 3)
