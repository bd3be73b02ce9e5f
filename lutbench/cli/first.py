"""What ``lutbench`` prints without a command: first steps for each kind of user."""

from __future__ import annotations

FIRST = """\
lutbench: build, check and pin the LUTs between a log recording and a picture
that can be trusted.

You build LUTs
  lutbench demo          a whole set of them, built and checked, with pictures
  lutbench list curves   the names to build from
  lutbench build --source-curve ACEScct --source-gamut ACEScg \\
      --target-curve BT.1886 --target-gamut BT.709 -o monitor.cube

You check LUTs and expose
  lutbench inspect monitor.cube    what is wrong with it
  lutbench identify monitor.cube   what it expects, gives, and adds as a look
  lutbench levels --curve ACEScct --lut monitor.cube
                                   where grey, skin and white sit today

You pin transforms
  lutbench compare monitor.cube "ACEScct, ACEScg to BT.1886, BT.709"
                                   how far it is from what it should be
  lutbench verify --self           the conversions against the standards

`lutbench --help` lists all commands, `lutbench COMMAND --help` gives an
example of each. A monitoring LUT is for viewing: delivery has its own
specification.
"""
