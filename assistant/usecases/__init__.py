"""Second floor: the use cases. Each reads, decides through the ground floor, and writes, in transactions of its own."""
