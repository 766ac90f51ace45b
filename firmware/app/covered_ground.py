"""Which ground is covered: a grid of cells in a bounded memory, in tiles made where needed.

A tile is a square of TILE x TILE cells, a bit each. Tiles lie in a table of fixed size that is
looked up by their place in at most PROBES steps; where there is no room for another one, the oldest
of those steps makes room and what was covered there is forgotten. Then liquid falls twice, as it
would without a grid; ground is never taken for covered that is not.
"""

CELL_MM = 250
TILE = 32  # cells a side: 8 m
TILE_BYTES = TILE * TILE // 8
PROBES = 6
INNER_MM = 62  # a point so near to the edge of a cell does not mark it
EMPTY = -1


class CoveredGround:
    """The grid. forgotten counts tiles that had to make room."""

    def __init__(self, tiles: int) -> None:
        self.tiles = tiles
        self.forgotten = 0
        self._bits = bytearray(tiles * TILE_BYTES)
        self._keys = [EMPTY] * tiles
        self._made = [0] * tiles  # in which order
        self._count = 0
        self._last_key = EMPTY  # of the tile that was found last, and where it lies
        self._last = 0

    def clear(self) -> None:
        """Forget everything; not in a tick."""
        for index in range(len(self._bits)):
            self._bits[index] = 0
        for index in range(self.tiles):
            self._keys[index] = EMPTY
        self._last_key = EMPTY
        self.forgotten = 0

    def is_covered(self, east_mm: int, north_mm: int) -> int:
        """Return whether the cell at a place is covered, 0 or 1."""
        east = east_mm // CELL_MM
        north = north_mm // CELL_MM
        index = self._find(east // TILE, north // TILE)
        if index < 0:
            return 0
        bit = north % TILE * TILE + east % TILE
        return self._bits[index * TILE_BYTES + (bit >> 3)] >> (bit & 7) & 1

    def cover(self, east_mm: int, north_mm: int) -> None:
        """Mark the cell whose middle is near a place; near its edge there is no such cell.

        So a cell is marked where its middle was covered, and not where a swath only touches it.
        """
        in_cell = east_mm % CELL_MM
        if not INNER_MM <= in_cell <= CELL_MM - INNER_MM:
            return
        in_cell = north_mm % CELL_MM
        if not INNER_MM <= in_cell <= CELL_MM - INNER_MM:
            return
        east = east_mm // CELL_MM
        north = north_mm // CELL_MM
        index = self._find(east // TILE, north // TILE)
        if index < 0:
            index = self._make(east // TILE, north // TILE)
        bit = north % TILE * TILE + east % TILE
        self._bits[index * TILE_BYTES + (bit >> 3)] |= 1 << (bit & 7)

    def _find(self, east: int, north: int) -> int:
        """Return where the tile lies in the table, EMPTY where there is none."""
        key = (east & 0xFFF) << 12 | north & 0xFFF
        if key == self._last_key:
            return self._last
        slot = _first(east, north) % self.tiles
        for _ in range(PROBES):
            if self._keys[slot] == key:
                self._last_key = key
                self._last = slot
                return slot
            slot += 1
            if slot == self.tiles:
                slot = 0
        return EMPTY

    def _make(self, east: int, north: int) -> int:
        """Make room for a tile; return where it lies."""
        slot = _first(east, north) % self.tiles
        chosen = EMPTY
        for _ in range(PROBES):
            if self._keys[slot] == EMPTY:
                chosen = slot
                break
            if chosen == EMPTY or self._made[slot] < self._made[chosen]:
                chosen = slot
            slot += 1
            if slot == self.tiles:
                slot = 0
        if self._keys[chosen] != EMPTY:
            self.forgotten += 1
            for index in range(chosen * TILE_BYTES, (chosen + 1) * TILE_BYTES):
                self._bits[index] = 0
        self._count += 1
        self._made[chosen] = self._count
        self._last_key = self._keys[chosen] = (east & 0xFFF) << 12 | north & 0xFFF
        self._last = chosen
        return chosen


def _first(east: int, north: int) -> int:
    """Return where the search for a tile begins; neighbours lie far from each other."""
    return (east & 0xFFF) * 73 + (north & 0xFFF) * 151
