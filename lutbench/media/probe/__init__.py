"""A picture and a LUT that show what a monitor does with a LUT: drawn, and read again."""
