"""What a disc is: recording codes, geometries, volumes and the files that hold them."""
