"""A room a study, each with what it computes, says, draws and writes."""
