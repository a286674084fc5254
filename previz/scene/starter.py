"""
The file that `previz new` writes: a small room that works, with every table a maker meets first, each key explained.

Takes nothing; gives text. A test reads it, and finds every key that it names in the model.
"""

STARTER = '''\
# A set, its light and its shots. Lengths are millimetres, angles degrees.
# The origin is the set's datum corner, z is up. Text after # is for you; previz keeps it.

title = "my first set"
scale = 12                      # 1:12

# ------------------------------------------------------------------ the set
[[room]]
name = "room"
plan = [[0, 0], [400, 0], [400, 300], [0, 300]]    # inner outline, anticlockwise from above
walls = ["south", "east", "north", "west"]         # a name for each side of the plan, in order
height = 240
wall = 5                                           # thickness, outward from the plan
open = ["south"]                                   # left off: the camera comes in here
finish = { walls = "plaster", floor = "boards", ceiling = "plaster" }

[[opening]]
name = "window"
wall = "room.east"
shape = "rect"                  # "rect", "arch", "lancet", "round" or { outline = [...] }
at = [120, 90]                  # along and up to its lower left corner, seen from outside
size = [70, 100]
bars = { columns = 2, rows = 3, width = 3, depth = 3 }

[[prop]]
name = "table"
kind = "box"                    # "box", "cylinder", "sphere", "lathe", "cutout" or "mesh"
size = [120, 70, 62]            # width, depth, height
at = [190, 170, 0]              # the middle of its footprint
turn = 8
finish = "oak"

[[prop]]
name = "jug"
kind = "lathe"
profile = [[9, 0], [13, 10], [12, 20], [6, 28], [8, 34]]    # radius and height, from the bottom up
at = [175, 165, 62]
finish = "glaze"

[finish.plaster]
reflect = 0.35                  # 0 black, 1 white

[finish.boards]
colour = "#6b4e36"

[finish.oak]
colour = "#8a6542"

[finish.glaze]
colour = "#4f7d86"

# ---------------------------------------------------------------- the light
[[lamp]]
name = "key"
kind = "disc"                   # "point", "disc", "panel" or "ies"
at = [1300, 190, 620]
toward = "window"
diameter = 60
lux_at_1m = 60000               # or candela, or lumens
beam = 30

[haze]
extinction = 0.8                # per metre; or visibility in metres
half_life = 60                  # seconds until half of it is gone
# uneven = { contrast = 0.5, size = 45, drift = 20 }    # swirls, mm wide, that drift at mm/s

# --------------------------------------------------------------- the camera
[body]
sensor = [36, 24]
resolution = [1920, 1080]
iso_max = 6400

[lens]
focal = 24
widest = 14
near = 20                       # closest focus, from the front of the barrel
barrel = [[250, 20], [100, 60]] # length and diameter, from the front back

[slider]
from = [100, -150, 110]
to = [300, -150, 110]

[lift]
carries = "set"                 # or "camera"; everything here is written with the lift at 0
range = [-30, 30]
speed = 40                      # mm/s

[hand]                          # for move = "hand": how much hands shake, root mean square
shake_mm = 1
shake_deg = 0.3

[table]
height = 750                    # mm, from the floor to its top

[stand]                         # for previz aim: where the lamp's stand may go
height = [300, 2200]            # mm above the floor, lowest and highest
distance = [300, 3000]          # mm from the opening

[[shot]]
name = "past the jug"
clip = 8                        # seconds on the screen
move = "slide"                  # "still", "slide", "arc", "lift", "path" or "hand"
from = 60                       # mm along the rail, or a point [x, y, z]
to = 140
lift = 0                        # mm, or [from, to]: it moves during the take
look = "jug"
fps = 120
playback = 24
iso = 3200
'''
