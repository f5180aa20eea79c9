//! A result and the caveats that travel with it to page, print and file.

/// Something a person must know beside a result that still stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caveat {
    /// Short fixed name that scripts may rely on.
    pub code: &'static str,
    /// What is so.
    pub sentence: String,
    /// What to do.
    pub remedy: String,
}

impl Caveat {
    /// A caveat from its code, what is so, and what to do.
    pub fn new(code: &'static str, sentence: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { code, sentence: sentence.into(), remedy: remedy.into() }
    }
}

/// A value that can be used, and what must be said with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome<T, C = Caveat> {
    /// The result.
    pub value: T,
    /// In the order in which they were met.
    pub caveats: Vec<C>,
}

impl<T, C> Outcome<T, C> {
    /// A result with nothing to add.
    pub fn clean(value: T) -> Self {
        Self { value, caveats: Vec::new() }
    }

    /// Changes the value, keeps the caveats.
    pub fn map<U>(self, change: impl FnOnce(T) -> U) -> Outcome<U, C> {
        Outcome { value: change(self.value), caveats: self.caveats }
    }
}
