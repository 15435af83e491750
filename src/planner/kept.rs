//! The value of a stage, kept with what it was made from.

use std::ops::Deref;
use std::sync::Arc;

use crate::error::Result;

/// A value of an earlier stage: equal only if it is the very same one.
pub struct Same<T>(pub Arc<T>);

impl<T> Clone for Same<T> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<T> PartialEq for Same<T> {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

impl<T> Deref for Same<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

/// What a stage was made from last, and what it was.
pub struct Kept<K, V>(Option<(K, Same<V>)>);

impl<K, V> Default for Kept<K, V> {
    fn default() -> Self {
        Self(None)
    }
}

impl<K: PartialEq, V> Kept<K, V> {
    /// The value made from `from`. `make` is a plain function: it can see nothing that is not compared.
    pub fn made(&mut self, from: K, make: fn(&K) -> Result<V>) -> Result<Same<V>> {
        if let Some((before, value)) = &self.0
            && *before == from
        {
            return Ok(value.clone());
        }
        let value = Same(Arc::new(make(&from)?));
        self.0 = Some((from, value.clone()));
        Ok(value)
    }

    /// The same, but what comes out as it was is the one before, so that nothing made from it is made again.
    pub fn made_or_same(&mut self, from: K, make: fn(&K) -> Result<V>) -> Result<Same<V>>
    where
        V: PartialEq,
    {
        let before = self.0.as_ref().map(|(_, value)| value.clone());
        let mut value = self.made(from, make)?;
        if let (Some(before), Some((_, kept))) = (before, &mut self.0)
            && *before == *value
        {
            *kept = before.clone();
            value = before;
        }
        Ok(value)
    }
}
