"""Free fits of the forms that views have, and the names that come up to them."""
