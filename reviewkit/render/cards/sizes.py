"""The sizes of type and lines, and the frame that they are pixels of: 1920 × 1080."""

FRAME_WIDTH, FRAME_HEIGHT = 1920, 1080
WIDTHS = (1280, 1920, 3840)  # what a card can be drawn at

# em sizes; 36 is the floor: capitals of 16 arcmin on a phone held sideways (NUREG-0700's minimum)
LEAST = 36.0
OVERLINE = 38.0
AXIS = 40.0
NOTE = 44.0  # captions, notes, names of traces
SENTENCE = 92.0
HEROES = (204.0, 192.0, 180.0, 168.0, 156.0, 144.0, 132.0, 120.0)
STRIP_HEROES = (184.0, 172.0, 160.0, 150.0, 138.0, 126.0, 116.0, 104.0, 92.0)
READING = 50.0

CURVE, GHOST, BENCH = 9.0, 5.0, 3.0  # line widths
DASH = (4.2, 1.35)  # the right channel's dash, in line widths
