"""A picture and a probe LUT that show what a monitor does with a LUT, and their reading."""
