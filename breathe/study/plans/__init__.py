"""What-ifs from a sheet: read, run here or on a cluster, ranked."""
