"""Likely causes: the service engineer's decision trees as data, weighed with what was measured.

recorder (what was usual) -> scene (one alarm, now) -> evidence (named yes/no/not measured) -> rank (naive Bayes)
trees hold the candidates of each alarm; finder keeps the causes of every standing alarm up to date.
"""
