"""Flight and ground model of a golf ball: numpy only, SI units and radians, no files."""
