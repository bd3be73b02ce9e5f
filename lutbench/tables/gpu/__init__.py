"""Pixels that live on a CUDA device: the same programs, on the device and its stream.

`arrays.py` takes arrays of any library that speaks DLPack or the CUDA array
interface, `prepare.py` lays a chain of steps out in the device's memory,
`source.py` writes the kernel for it, `run.py` launches it, and `host.py` streams
arrays of the host through the devices. CuPy is imported in here only.
"""
