"""The functions that ``import lutbench as lb`` offers.

A LUT may be given as an object, as a path, or in words ("ACEScct, ACEScg to BT.1886,
BT.709"). Here arguments are checked and documented; the packages below do the work.
"""
