//! From inked pixels to a small PNG.

use std::cmp::Reverse;

use hashbrown::HashMap;

use super::{ChartError, style};

/// Colours kept: enough for smooth letters and lines, few enough to pack well.
pub const COLOURS: usize = 40;

/// Packs a picture as a PNG with a palette of at most [`COLOURS`] colours: those with a meaning and the
/// commonest of the picture as they are, each other one as the nearest of those. Same pixels, same bytes.
///
/// # Errors
/// `NotDrawn` where packing fails.
pub fn pack(rgb: &[u8], width: u32, height: u32) -> Result<Vec<u8>, ChartError> {
    let mut number_of: HashMap<[u8; 3], usize> = HashMap::new();
    let mut colours: Vec<([u8; 3], usize)> = Vec::new();
    // Neighbours are mostly alike, and so are rows: colours are looked up once for a run of pixels.
    let mut runs: Vec<(usize, usize)> = Vec::new();
    let (mut before, mut of_row): (&[u8], _) = (&[], 0..0);
    for row in rgb.chunks_exact(width as usize * 3) {
        let from = runs.len();
        if row == before {
            runs.extend_from_within(of_row.clone());
        } else {
            for run in row.as_chunks::<3>().0.chunk_by(|a, b| a == b) {
                let number = *number_of.entry(run[0]).or_insert(colours.len());
                if number == colours.len() {
                    colours.push((run[0], 0));
                }
                runs.push((number, run.len()));
            }
        }
        (before, of_row) = (row, from..runs.len());
        for (number, length) in &runs[of_row.clone()] {
            colours[*number].1 += length;
        }
    }
    // Colours that carry a meaning first, however few pixels they have; then by number of pixels.
    let meant = style::palette();
    let mut order: Vec<usize> = (0..colours.len()).collect();
    order.sort_by_key(|n| {
        let (colour, count) = colours[*n];
        (!meant.contains(&colour), Reverse(count), colour)
    });
    let palette: Vec<[u8; 3]> = order.iter().take(COLOURS).map(|n| colours[*n].0).collect();
    let mut place = vec![0; colours.len()];
    for (i, n) in order.into_iter().enumerate() {
        place[n] = if i < COLOURS { i as u8 } else { nearest(&palette, colours[n].0) };
    }
    let mut indices: Vec<u8> = Vec::with_capacity(rgb.len() / 3);
    for (number, length) in runs {
        indices.resize(indices.len() + length, place[number]);
    }

    let failed = |e: png::EncodingError| ChartError::NotDrawn { reason: e.to_string() };
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, width, height);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(palette.concat());
    // The usual strength takes three times as long for files an eighth smaller.
    encoder.set_deflate_compression(png::DeflateCompression::Level(3));
    // Palette numbers of neighbours are unrelated, so differences between them pack worse.
    encoder.set_filter(png::Filter::NoFilter);
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(&indices).map_err(failed)?;
    writer.finish().map_err(failed)?;
    Ok(out)
}

fn nearest(palette: &[[u8; 3]], colour: [u8; 3]) -> u8 {
    let distance = |other: &[u8; 3]| -> u32 {
        (0..3).map(|i| u32::from(other[i].abs_diff(colour[i])).pow(2)).sum()
    };
    (0..palette.len()).min_by_key(|i| distance(&palette[*i])).unwrap_or(0) as u8
}
