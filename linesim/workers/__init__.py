"""Independent tasks on threads, processes or a cluster, and arrays that all of them look at."""
