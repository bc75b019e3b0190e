"""The order of work: read, validate, plan, size, fit, lay out, draw, record.

Every command of the command line is one function here; the stages meet nowhere else."""
