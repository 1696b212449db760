//! A sheet of character cells. Stronger ink covers weaker, lines join where they meet, and no name covers another.

/// A cell's ink; a later one covers an earlier one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Ink {
    /// Nothing.
    Blank,
    /// A joist.
    Faint,
    /// A rectangle to keep clear.
    Fill,
    /// The way of the cable.
    Way,
    /// A wall.
    Wall,
    /// A hole, the rose, a crossing.
    Mark,
    /// A letter of a name.
    Name,
}

/// Which set of characters lines are made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Glyphs {
    /// Plain ASCII: any printer, any terminal.
    Ascii,
    /// Box-drawing characters.
    Boxes,
}

/// A place on the grid: column from the left, row from the top.
pub(super) type Place = [usize; 2];

const NORTH: u8 = 1;
const EAST: u8 = 2;
const SOUTH: u8 = 4;
const WEST: u8 = 8;

#[derive(Debug, Clone, Copy)]
struct Cell {
    ink: Ink,
    glyph: char,
    joins: u8,
}

const BLANK: Cell = Cell { ink: Ink::Blank, glyph: ' ', joins: 0 };

/// The second column of a wide character: nothing is printed for it.
const TAKEN: char = '\0';

/// The grid.
pub(super) struct Grid {
    cells: Vec<Vec<Cell>>,
    glyphs: Glyphs,
}

impl Grid {
    /// An empty grid.
    pub fn new(columns: usize, rows: usize, glyphs: Glyphs) -> Self {
        Self { cells: vec![vec![BLANK; columns]; rows], glyphs }
    }

    fn cell(&mut self, [column, row]: Place) -> Option<&mut Cell> {
        self.cells.get_mut(row)?.get_mut(column)
    }

    /// Puts a character on a cell, unless stronger ink is there. Says whether it did.
    pub fn put(&mut self, place: Place, ink: Ink, glyph: char) -> bool {
        match self.cell(place) {
            Some(cell) if cell.ink <= ink => {
                *cell = Cell { ink, glyph, joins: 0 };
                true
            }
            _ => false,
        }
    }

    /// Draws a joining line between two cells of one row or one column.
    pub fn line(&mut self, from: Place, to: Place, ink: Ink) {
        let axis = usize::from(from[0] == to[0]);
        let (low, high) = (from[axis].min(to[axis]), from[axis].max(to[axis]));
        let (before, after) = if axis == 0 { (WEST, EAST) } else { (NORTH, SOUTH) };
        for at in low..=high {
            let mut place = from;
            place[axis] = at;
            let joins = if at > low { before } else { 0 } | if at < high { after } else { 0 };
            let Some(cell) = self.cell(place) else { continue };
            if cell.ink == ink {
                cell.joins |= joins;
            } else if cell.ink < ink {
                *cell = Cell { ink, glyph: ' ', joins };
            }
        }
    }

    /// Writes a name from a cell to the right if it fits there: on the sheet, on no ink stronger than `over`, and with a
    /// cell between it and any other name. Says whether it did.
    pub fn name(&mut self, [column, row]: Place, name: &str, over: Ink) -> bool {
        let width = super::words::columns(name);
        let Some(cells) = self.cells.get(row) else { return false };
        let Some(under) = cells.get(column..column + width) else { return false };
        let around = &cells[column.saturating_sub(1)..(column + width + 1).min(cells.len())];
        if width == 0 || under.iter().any(|cell| cell.ink > over) || around.iter().any(|cell| cell.ink == Ink::Name) {
            return false;
        }
        let mut at = column;
        for c in name.chars() {
            let wide = super::words::columns(c.encode_utf8(&mut [0; 4]));
            for (step, glyph) in [c, TAKEN].into_iter().take(wide).enumerate() {
                self.cells[row][at + step] = Cell { ink: Ink::Name, glyph, joins: 0 };
            }
            at += wide;
        }
        true
    }

    /// The rows as text, without blanks at their ends and without blank rows above and below.
    pub fn rows(&self) -> Vec<String> {
        let text = |cell: &Cell| match cell {
            Cell { ink: Ink::Wall, .. } => wall_glyph(cell.joins, self.glyphs),
            Cell { ink: Ink::Way, .. } => way_glyph(cell.joins, self.glyphs),
            cell => cell.glyph,
        };
        let row = |cells: &Vec<Cell>| cells.iter().map(text).filter(|c| *c != TAKEN).collect::<String>();
        let rows: Vec<String> = self.cells.iter().map(|cells| row(cells).trim_end().to_owned()).collect();
        let full = |row: &String| !row.is_empty();
        let first = rows.iter().position(full).unwrap_or(0);
        let end = rows.iter().rposition(full).map_or(first, |last| last + 1);
        rows[first..end].to_vec()
    }
}

/// A wall's cell by the sides on which it goes on.
fn wall_glyph(joins: u8, glyphs: Glyphs) -> char {
    const BOXES: [char; 16] = ['─', '│', '─', '└', '│', '│', '┌', '├', '─', '┘', '─', '┴', '┐', '┤', '┬', '┼'];
    match (glyphs, joins) {
        (Glyphs::Boxes, joins) => BOXES[usize::from(joins & 15)],
        (Glyphs::Ascii, joins) if joins & (NORTH | SOUTH) == 0 => '-',
        (Glyphs::Ascii, joins) if joins & (EAST | WEST) == 0 => '|',
        (Glyphs::Ascii, _) => '+',
    }
}

/// A cable's cell by the sides on which it goes on.
fn way_glyph(joins: u8, glyphs: Glyphs) -> char {
    const BOXES: [char; 16] = ['━', '┃', '━', '┗', '┃', '┃', '┏', '┣', '━', '┛', '━', '┻', '┓', '┫', '┳', '╋'];
    if glyphs == Glyphs::Boxes { BOXES[usize::from(joins & 15)] } else { '#' }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_join_where_they_meet_and_weaker_ink_gives_way() {
        let mut grid = Grid::new(5, 3, Glyphs::Boxes);
        for (from, to) in [([0, 0], [4, 0]), ([4, 0], [4, 2]), ([4, 2], [0, 2]), ([0, 2], [0, 0])] {
            grid.line(from, to, Ink::Wall);
        }
        grid.line([0, 1], [4, 1], Ink::Way);
        grid.put([2, 1], Ink::Faint, ':');
        assert_eq!(grid.rows(), ["┌───┐", "│━━━│", "└───┘"]);
    }

    #[test]
    fn names_keep_a_cell_between_them() {
        let mut grid = Grid::new(6, 1, Glyphs::Ascii);
        assert!(grid.name([0, 0], "H1", Ink::Faint));
        assert!(!grid.name([2, 0], "H2", Ink::Faint));
        assert!(grid.name([3, 0], "灯", Ink::Faint));
        assert!(!grid.name([5, 0], "H3", Ink::Faint));
        assert_eq!(grid.rows(), ["H1 灯"]);
    }
}
