"""The order in which cuts are made in the least machine time, and the proof of how near it is to the least possible.

From cuts to plan, in the order in which the modules are best read:

web            the cuts as a multigraph with seconds: vertices in plan view, nodes at a depth, lines of cuts below one another
nest           levels: what of them the next three see, the skeleton, and how the rest hangs on their tour; in one level it is all
pairing        which lifts, recuts and moves in place make every node even at least cost: a T-join, solved in tjoin
bound          why the T-join, raised by moats round components, is below every program
walks          lifts exchanged until all is one group; then one Euler walk, quick round corners, whose passes run between lifts
order          the order, direction and entry of the passes, for shorter rapids
tour, planner  what an order costs, simple orders to compare with, and the choice, recorded in model

Sizes at which another way is taken, and what asks for each (one machine, processor seconds, share of time above the bound):

planner.SIMPLE       simple plans are tried too: at 12,000 edges that takes 1.0 s instead of 0.3 and finds nothing better
planner.SECOND_LOOK  a pairing by clock rates is tried too: asanoha, 12,000 edges, 5.0 s instead of 1.7, for 0.16 % of the time
tjoin.WHOLE          members of T matched all at once: kikko, 38,000 edges, 29 s instead of 1.0 s, for 0.18 %
bound.WORK           rounds of moats: masu-tsunagi, 5,000 edges, with a tenth 4.4 % instead of 2.0, with four times as many 2.0
pairing.MANY, LARGE  large components as sites: without small ones yotsu-waribishi, 10,000 edges, 4.4 % instead of 2.0; with
                     every large one masu-tsunagi 30 s instead of 6
"""
