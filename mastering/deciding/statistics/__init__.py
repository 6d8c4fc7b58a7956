"""What the discs judged so far say: charts, runs, culprits, places on the disc. Pure: sequences in, figures out."""
