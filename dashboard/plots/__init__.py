"""Functions from result tables to HoloViews elements; they keep nothing and compute nothing."""
