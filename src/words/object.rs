//! One JSON object, written out key by key.

/// Serialises an object with these keys in this order: for what carries numbers in itself and sentences in its
/// JSON.
macro_rules! object {
    ($to:expr; $($key:literal: $value:expr),+ $(,)?) => {{
        use serde::ser::SerializeStruct;
        let mut object = $to.serialize_struct("", [$($key),+].len())?;
        $( object.serialize_field($key, &$value)?; )+
        object.end()
    }};
}
pub(crate) use object;
