//! A chart as a reader sees it: its pixels.

/// A decoded PNG.
#[derive(PartialEq, Eq)]
pub struct Picture {
    pub width: usize,
    pub height: usize,
    /// Row by row: red, green, blue.
    pub pixels: Vec<[u8; 3]>,
}

impl Picture {
    /// Decodes a PNG without transparency.
    #[track_caller]
    pub fn decode(bytes: &[u8]) -> Self {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().expect("a PNG");
        let mut bytes = vec![0; reader.output_buffer_size().expect("a known size")];
        let info = reader.next_frame(&mut bytes).expect("whole");
        assert_eq!((info.color_type, info.bit_depth), (png::ColorType::Rgb, png::BitDepth::Eight));
        let (width, height) = (info.width as usize, info.height as usize);
        let pixels: Vec<[u8; 3]> = bytes.as_chunks().0.to_vec();
        assert_eq!(pixels.len(), width * height);
        Self { width, height, pixels }
    }
}
