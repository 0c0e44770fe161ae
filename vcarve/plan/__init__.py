"""The order in which cuts are made in the least machine time, and the proof of how near it is to the least possible.

Sizes at which another way is taken, and what asks for each (one machine, processor seconds, share of time above the bound):

planner.SIMPLE       simple plans are tried too: at 12,000 edges that takes 1.0 s instead of 0.3 and finds nothing better
planner.SECOND_LOOK  a pairing by clock rates is tried too: at 60,000 edges 2.2 s instead of 1.2, for 0.01 % of the time
tjoin.WHOLE          members of T matched all at once: kikko, 38,000 edges, 29 s instead of 1.0 s, for 0.18 %
bound.WORK           rounds of moats: masu-tsunagi, 5,000 edges, with a tenth 4.4 % instead of 2.0, with four times as many 2.0
pairing.MANY, LARGE  large components as sites: without small ones yotsu-waribishi, 10,000 edges, 4.4 % instead of 2.0; with
                     every large one masu-tsunagi 30 s instead of 6
"""
