"""What the racer owns: cars, motors, controllers, packs, gears, leads, weights and balance.

Here belong the sums on leads and corner weights and the lists of kit. How a pack is charged is
`pitapp.packs`; which gears fit a car is `pitapp.gearing`.
"""
