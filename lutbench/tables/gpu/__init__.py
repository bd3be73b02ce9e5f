"""Pixels in the memory of a CUDA device: the same programs, on the device and its stream.

`arrays.py` handles arrays of any library that supports DLPack or the CUDA array
interface, `prepare.py` puts a chain of steps into the device's memory, `source.py`
writes the kernel for it, `run.py` launches it, and `host.py` streams arrays of the host
through the devices. Only these modules import CuPy.
"""
