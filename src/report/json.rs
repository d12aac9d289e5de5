//! `results.json`: a review for machines; a study and an investigation likewise.
//!
//! Takes any value whose shape is the contract. JSON has no word for a number that is not finite: such a
//! number becomes `null`, and [`not_finite`] tells where, wherever it stands, so that a note can say so.

use std::fmt;

use serde::ser::{Impossible, Serialize, SerializeMap, SerializeSeq, SerializeStruct, Serializer};

/// The whole value as indented JSON, keys in their order, ended by a line break.
#[must_use]
pub fn results<T: Serialize>(value: &T) -> String {
    let mut text =
        serde_json::to_string_pretty(value).expect("every map of a report has text for keys");
    text.push('\n');
    text
}

/// Places of all plain numbers that are not finite, as `series.0.drift.rho`; none in a sound report. Ends of an
/// interval may lack a bound and are written as nothing by their own type.
#[must_use]
pub fn not_finite<T: Serialize>(value: &T) -> Vec<String> {
    let mut walk = Walk { path: Vec::new(), wrong: Vec::new() };
    value.serialize(&mut walk).expect("every map of a report has text for keys");
    walk.wrong
}

/// A serialiser that writes nothing and looks at numbers.
struct Walk {
    path: Vec<String>,
    wrong: Vec<String>,
}

impl Walk {
    fn inside<T: Serialize + ?Sized>(&mut self, name: String, value: &T) -> fmt::Result {
        self.path.push(name);
        value.serialize(&mut *self)?;
        self.path.pop();
        Ok(())
    }
}

/// One list, map or object on the way.
struct Compound<'a> {
    walk: &'a mut Walk,
    key: String,
    at: usize,
}

impl<'a> Compound<'a> {
    fn of(walk: &'a mut Walk) -> Result<Self, fmt::Error> {
        Ok(Self { walk, key: String::new(), at: 0 })
    }
}

impl SerializeSeq for Compound<'_> {
    type Ok = ();
    type Error = fmt::Error;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> fmt::Result {
        self.at += 1;
        self.walk.inside((self.at - 1).to_string(), value)
    }

    fn end(self) -> fmt::Result {
        Ok(())
    }
}

impl serde::ser::SerializeTuple for Compound<'_> {
    type Ok = ();
    type Error = fmt::Error;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> fmt::Result {
        SerializeSeq::serialize_element(self, value)
    }

    fn end(self) -> fmt::Result {
        Ok(())
    }
}

impl SerializeMap for Compound<'_> {
    type Ok = ();
    type Error = fmt::Error;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> fmt::Result {
        let key = serde_json::to_value(key).map_err(|_| fmt::Error)?;
        self.key = key.as_str().map_or_else(|| key.to_string(), str::to_owned);
        Ok(())
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> fmt::Result {
        let key = std::mem::take(&mut self.key);
        self.walk.inside(key, value)
    }

    fn end(self) -> fmt::Result {
        Ok(())
    }
}

impl SerializeStruct for Compound<'_> {
    type Ok = ();
    type Error = fmt::Error;

    fn serialize_field<T: Serialize + ?Sized>(
        &mut self,
        key: &'static str,
        value: &T,
    ) -> fmt::Result {
        self.walk.inside(key.to_owned(), value)
    }

    fn end(self) -> fmt::Result {
        Ok(())
    }
}

/// What is no number with a fraction is as it should be.
macro_rules! sound {
    ($($name:ident: $of:ty),*) => { $(
        fn $name(self, _: $of) -> fmt::Result {
            Ok(())
        }
    )* };
}

impl<'a> Serializer for &'a mut Walk {
    type Ok = ();
    type Error = fmt::Error;
    type SerializeSeq = Compound<'a>;
    type SerializeTuple = Compound<'a>;
    type SerializeTupleStruct = Impossible<(), fmt::Error>;
    type SerializeTupleVariant = Impossible<(), fmt::Error>;
    type SerializeMap = Compound<'a>;
    type SerializeStruct = Compound<'a>;
    type SerializeStructVariant = Impossible<(), fmt::Error>;

    sound!(
        serialize_bool: bool, serialize_i8: i8, serialize_i16: i16, serialize_i32: i32,
        serialize_i64: i64, serialize_u8: u8, serialize_u16: u16, serialize_u32: u32,
        serialize_u64: u64, serialize_char: char, serialize_str: &str, serialize_bytes: &[u8],
        serialize_unit_struct: &'static str
    );

    fn serialize_f32(self, x: f32) -> fmt::Result {
        self.serialize_f64(f64::from(x))
    }

    fn serialize_f64(self, x: f64) -> fmt::Result {
        if !x.is_finite() {
            self.wrong.push(self.path.join("."));
        }
        Ok(())
    }

    fn serialize_none(self) -> fmt::Result {
        Ok(())
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> fmt::Result {
        value.serialize(self)
    }

    fn serialize_unit(self) -> fmt::Result {
        Ok(())
    }

    fn serialize_unit_variant(self, _: &'static str, _: u32, _: &'static str) -> fmt::Result {
        Ok(())
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        value: &T,
    ) -> fmt::Result {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        value: &T,
    ) -> fmt::Result {
        self.inside(variant.to_owned(), value)
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Compound<'a>, fmt::Error> {
        Compound::of(self)
    }

    fn serialize_tuple(self, _: usize) -> Result<Compound<'a>, fmt::Error> {
        Compound::of(self)
    }

    fn serialize_tuple_struct(
        self,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeTupleStruct, fmt::Error> {
        Err(fmt::Error)
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeTupleVariant, fmt::Error> {
        Err(fmt::Error)
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Compound<'a>, fmt::Error> {
        Compound::of(self)
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Compound<'a>, fmt::Error> {
        Compound::of(self)
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeStructVariant, fmt::Error> {
        Err(fmt::Error)
    }
}
