"""The furnace model: a converted used-oil furnace, its building and weather, from a seed, with faults and the truth."""
