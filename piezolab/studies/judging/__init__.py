"""One judgement of a chain, asked once and read by every page, sheet and command (see `judging.judgement`)."""
