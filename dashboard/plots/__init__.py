"""Functions from result tables to drawings in layers; they keep nothing and compute nothing."""
