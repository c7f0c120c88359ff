"""How people use it: command line, reports, benchmarks."""
