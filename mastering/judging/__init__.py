"""A read-back to what it is: its verdict, its diagnosis, and what follows for its disc. Imports `master` and what lies below."""
