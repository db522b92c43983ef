"""What a copy holds that is not here, and the other way round; and taking over what is missing.

Two databases that grew apart (a laptop's and a phone's) give the same number to different rows, so
a row is known by its identity instead: a run and a charge by the UUID that they were made with, a
reading by its pack and moment, a car by its name (`identities.py`). Of several
with one name the first made stands for the first, the second for the second, and so on. What is added gets numbers of
its own here, and everything that it refers to comes along. Replacing one by the other, and the copy
that is made first, belong to `pitapp/copies/store.py`. Test: `tests/test_copies_adding.py`.
"""
