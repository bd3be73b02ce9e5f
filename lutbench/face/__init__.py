"""The functions that stand at the top, ``import lutbench as lb``: each takes what a user has.

A LUT may be given as the object, as a path, or in words ("ACEScct, ACEScg to BT.1886,
BT.709"). The work is done in the rooms below; here it is asked for.
"""
