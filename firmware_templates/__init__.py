"""The files that become firmware: `app` and `drivers` are copied or rendered by `gen.firmware`."""
