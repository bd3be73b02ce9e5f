"""The chart that is sent through a device, and patches of photographed charts."""
