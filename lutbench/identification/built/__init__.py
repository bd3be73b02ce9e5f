"""What `build` can make, recognised: a description fitted until only the rounding is left."""
