//! The look: sizes, colours by meaning, and the font that comes with the program.

use super::Role;
use ab_glyph::{Font, FontRef, GlyphId, PxScale, ScaleFont, point};
use hashbrown::HashMap;
use plotters::style::RGBColor;
use std::cell::RefCell;
use std::rc::Rc;
use std::sync::OnceLock;

/// Width of a picture in pixels.
pub const WIDTH: u32 = 1600;
/// Height of a picture in pixels.
pub const HEIGHT: u32 = 1000;
/// Free room at the edges, in pixels of the finished picture; so are all sizes here.
pub const EDGE: f64 = 34.0;
/// Size of the title.
pub const TITLE: f64 = 40.0;
/// Size of the subtitle.
pub const SUBTITLE: f64 = 29.0;
/// Size of axis titles, ticks, labels and legend: legible at half size.
pub const TEXT: f64 = 28.0;
/// Size of notes below the chart.
pub const NOTE: f64 = 25.0;
/// Thickness of fitted lines and limits.
pub const LINE: f64 = 4.0;
/// Half the width of a point.
pub const POINT: f64 = 6.5;

/// Colour of words.
pub const INK: RGBColor = RGBColor(0x22, 0x22, 0x22);
/// Colour of grid lines.
pub const GRID: RGBColor = RGBColor(0xE2, 0xE2, 0xE2);
/// Colour of axis lines.
pub const FRAME: RGBColor = RGBColor(0x77, 0x77, 0x77);

/// The eight colours of Okabe and Ito (2008, "Color Universal Design", from memory), which stay apart
/// for readers with any of the common colour deficiencies.
pub mod okabe_ito {
    use plotters::style::RGBColor;
    /// Black.
    pub const BLACK: RGBColor = RGBColor(0x00, 0x00, 0x00);
    /// Orange.
    pub const ORANGE: RGBColor = RGBColor(0xE6, 0x9F, 0x00);
    /// Sky blue.
    pub const SKY: RGBColor = RGBColor(0x56, 0xB4, 0xE9);
    /// Bluish green.
    pub const GREEN: RGBColor = RGBColor(0x00, 0x9E, 0x73);
    /// Yellow.
    pub const YELLOW: RGBColor = RGBColor(0xF0, 0xE4, 0x42);
    /// Blue.
    pub const BLUE: RGBColor = RGBColor(0x00, 0x72, 0xB2);
    /// Vermillion.
    pub const VERMILLION: RGBColor = RGBColor(0xD5, 0x5E, 0x00);
    /// Reddish purple.
    pub const PURPLE: RGBColor = RGBColor(0xCC, 0x79, 0xA7);
}

/// Colour of marks with this meaning.
pub fn colour(role: Role) -> RGBColor {
    match role {
        Role::Reading => okabe_ito::SKY,
        Role::Fit | Role::UnderLimit | Role::BothGroups => okabe_ito::BLUE,
        Role::Limit => okabe_ito::VERMILLION,
        Role::Suggested | Role::Forecast | Role::LowerGroup => okabe_ito::PURPLE,
        Role::Workable | Role::NotProven => okabe_ito::GREEN,
        Role::Stray | Role::Ewma => okabe_ito::ORANGE,
        Role::Step => okabe_ito::YELLOW,
        Role::Typical | Role::Breakdown | Role::UpperGroup => okabe_ito::BLACK,
        Role::Other => okabe_ito::GREEN,
        Role::Event => RGBColor(0x55, 0x55, 0x55),
        Role::Quiet => RGBColor(0x99, 0x99, 0x99),
    }
}

/// The same colour as a pale, opaque shade for areas.
pub fn shade(role: Role) -> RGBColor {
    let RGBColor(r, g, b) = colour(role);
    let strength = match role {
        Role::Step => 0.45,
        Role::Quiet => 0.30,
        // Strokes with gaps between: as much ink as the plain shade.
        Role::NotProven => 0.45,
        _ => 0.22,
    };
    let mix = |c: u8| (255.0 - (255.0 - f64::from(c)) * strength).round() as u8;
    RGBColor(mix(r), mix(g), mix(b))
}

/// Every colour that carries a meaning: of marks, shades, words, grid and frame, and white.
pub fn palette() -> Vec<[u8; 3]> {
    Role::ALL
        .into_iter()
        .flat_map(|role| [colour(role), shade(role)])
        .chain([INK, GRID, FRAME, RGBColor(255, 255, 255)])
        .map(|RGBColor(r, g, b)| [r, g, b])
        .collect()
}

/// Thickness of lines with this meaning: the moving average and two groups together are thin, so that
/// they leave the points and the single groups to be seen.
pub fn thickness(role: Role) -> f64 {
    match role {
        Role::Ewma | Role::BothGroups => 2.5,
        _ => LINE,
    }
}

/// Weight of a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Weight {
    /// Ordinary.
    Regular,
    /// Heavy.
    Bold,
}

struct Faces {
    regular: FontRef<'static>,
    bold: FontRef<'static>,
}

/// Both faces, read the first time they are asked for, from any thread.
fn faces() -> &'static Faces {
    static FACES: OnceLock<Faces> = OnceLock::new();
    FACES.get_or_init(|| {
        let face = |bytes| FontRef::try_from_slice(bytes).expect("the bundled font is a font");
        Faces { regular: face(dejavu::sans::regular()), bold: face(dejavu::sans::bold()) }
    })
}

fn face(weight: Weight) -> &'static FontRef<'static> {
    match weight {
        Weight::Regular => &faces().regular,
        Weight::Bold => &faces().bold,
    }
}

/// Width of a text in pixels of the finished picture.
pub fn text_width(text: &str, size: f64, weight: Weight) -> f64 {
    let font = face(weight).as_scaled(PxScale::from(size as f32));
    let mut width = 0f32;
    let mut before = None;
    for c in text.chars() {
        let glyph = font.glyph_id(c);
        if let Some(b) = before {
            width += font.kern(b, glyph);
        }
        width += font.h_advance(glyph);
        before = Some(glyph);
    }
    f64::from(width)
}

/// Height of capitals as a fraction of the size: 1493 units of the font's 2384 from ascender to descender.
pub const CAPITALS: f64 = 0.626;

/// One pixel touched by a letter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dot {
    /// Column.
    pub x: i32,
    /// Row.
    pub y: i32,
    /// How much of the pixel the letter covers, 0 to 1.
    pub cover: f32,
}

/// A letter as it stands at a size, a weight and a quarter of a pixel.
type Letter = (GlyphId, u32, Weight, u8);

thread_local! {
    /// The dots of letters met: a report repeats the same few hundred.
    static LETTERS: RefCell<HashMap<Letter, Rc<[Dot]>>> = RefCell::new(HashMap::new());
}

/// Calls `lay` for the pixels of a text whose first letter starts at `x` on the base line `y`, which is brought to a
/// whole pixel, letters to quarters of one; signs that the font lacks are drawn as `?`.
///
/// # Errors
/// The first of `lay`.
pub fn ink<E>(
    text: &str,
    x: f64,
    y: f64,
    size: f64,
    weight: Weight,
    lay: impl Fn(Dot) -> Result<(), E>,
) -> Result<(), E> {
    let face = face(weight);
    let font = face.as_scaled(PxScale::from(size as f32));
    let (mut along, base) = (x as f32, y.round() as i32);
    let mut before = None;
    for c in drawn(text).chars() {
        let id = font.glyph_id(c);
        if let Some(b) = before {
            along += font.kern(b, id);
        }
        before = Some(id);
        let quarters = (along * 4.0).round() as i32;
        along += font.h_advance(id);
        let letter = (id, (size as f32).to_bits(), weight, quarters.rem_euclid(4) as u8);
        let dots = LETTERS.with_borrow_mut(|met| {
            Rc::clone(met.entry(letter).or_insert_with(|| dots_of(letter).into()))
        });
        for dot in &*dots {
            lay(Dot { x: dot.x + quarters.div_euclid(4), y: dot.y + base, ..*dot })?;
        }
    }
    Ok(())
}

/// The dots of a letter that starts in the pixel 0 on the base line 0.
fn dots_of((id, size, weight, quarter): Letter) -> Vec<Dot> {
    let scale = PxScale::from(f32::from_bits(size));
    let glyph = id.with_scale_and_position(scale, point(f32::from(quarter) / 4.0, 0.0));
    let mut dots = Vec::new();
    if let Some(outline) = face(weight).outline_glyph(glyph) {
        let corner = outline.px_bounds().min;
        outline.draw(|dx, dy, cover| {
            if cover > 0.0 {
                dots.push(Dot {
                    x: corner.x as i32 + dx as i32,
                    y: corner.y as i32 + dy as i32,
                    cover: cover.min(1.0),
                });
            }
        });
    }
    dots
}

/// The text as it can be drawn: white space made plain, or `fallback` where the font lacks a sign of
/// it or nothing is left.
pub fn printable(text: &str, fallback: &str) -> String {
    let plain = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if plain.is_empty() || !plain.chars().all(drawable) { fallback.to_owned() } else { plain }
}

fn drawable(c: char) -> bool {
    c == ' ' || (!c.is_control() && face(Weight::Regular).glyph_id(c).0 != 0)
}

/// The text with every sign that the font lacks drawn as `?`: the last resort for words that
/// did not pass through [`printable`].
pub fn drawn(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            c if drawable(c) => c,
            c if c.is_whitespace() => ' ',
            _ => '?',
        })
        .collect()
}

/// The text, cut with `…` where it is wider than `room` pixels.
pub fn shortened(text: &str, size: f64, weight: Weight, room: f64) -> String {
    if text_width(text, size, weight) <= room {
        return text.to_owned();
    }
    let signs: Vec<char> = text.chars().collect();
    // Widths grow with length, so the longest prefix that fits is found by halving.
    let (mut fits, mut too_long) = (0, signs.len());
    while too_long - fits > 1 {
        let middle = (fits + too_long) / 2;
        let tried: String = signs[..middle].iter().chain(&['…']).collect();
        if text_width(&tried, size, weight) <= room {
            fits = middle;
        } else {
            too_long = middle;
        }
    }
    let kept: String = signs[..fits].iter().collect();
    format!("{}…", kept.trim_end())
}

/// The text in at most `most` lines no wider than `room`; what does not fit is cut with `…`.
pub fn wrapped(text: &str, size: f64, weight: Weight, room: f64, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut words = text.split(' ').filter(|w| !w.is_empty()).peekable();
    while words.peek().is_some() && lines.len() < most {
        let last = lines.len() + 1 == most;
        let mut line = String::new();
        while let Some(word) = words.peek() {
            let longer =
                if line.is_empty() { (*word).to_owned() } else { format!("{line} {word}") };
            if !last && !line.is_empty() && text_width(&longer, size, weight) > room {
                break;
            }
            line = longer;
            words.next();
        }
        lines.push(shortened(&line, size, weight, room));
    }
    lines
}
