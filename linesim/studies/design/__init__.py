"""From a job to a station: what is free is searched, the best is told with its reasons."""
