"""Everything that gapshift shows; computes nothing that a notebook would want."""
