//! What an application identifier asks of its value.

use super::table::IDENTIFIERS;

/// Which characters a part may have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Characters {
    /// Digits.
    Digits,
    /// The 82 characters of ISO/IEC 646 that GS1 allows in texts.
    Text,
    /// Digits, capitals and `#`, `-`, `/`.
    PartNumber,
    /// The alphabet of base64 for URIs.
    Base64,
}

impl Characters {
    pub(super) fn allow(self, it: char) -> bool {
        match self {
            Self::Digits => it.is_ascii_digit(),
            Self::Text => it.is_ascii_alphanumeric() || "!\"%&'()*+,-./:;<=>?_".contains(it),
            Self::PartNumber => {
                it.is_ascii_digit() || it.is_ascii_uppercase() || "#-/".contains(it)
            }
            Self::Base64 => it.is_ascii_alphanumeric() || "-_=".contains(it),
        }
    }

    pub(super) const fn in_words(self) -> &'static str {
        match self {
            Self::Digits => "digits only",
            Self::Text => "letters, digits and !\"%&'()*+,-./:;<=>?_",
            Self::PartNumber => "digits, capitals and #-/",
            Self::Base64 => "letters, digits and -_=",
        }
    }
}

/// What a part is checked for besides its characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Check {
    Nothing,
    /// Its last digit is the check digit of the ones before.
    LastDigit,
    /// YYMMDD, a day 00 being the last one of its month.
    MonthOrDay,
    /// YYMMDD.
    Day,
    NotZero,
    Zero,
    /// 0 face out, 1 face in, 9 undefined.
    Winding,
    /// 0 or 1.
    YesNo,
}

/// A part of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Part {
    pub characters: Characters,
    pub least: usize,
    pub most: usize,
    pub optional: bool,
    pub check: Check,
}

impl Part {
    const fn of(characters: Characters, least: usize, most: usize) -> Self {
        Self { characters, least, most, optional: false, check: Check::Nothing }
    }

    pub(super) const fn optional(mut self) -> Self {
        self.optional = true;
        self
    }

    pub(super) const fn with(mut self, check: Check) -> Self {
        self.check = check;
        self
    }
}

/// `length` digits.
pub(super) const fn n(length: usize) -> Part {
    Part::of(Characters::Digits, length, length)
}

/// 1 to `most` digits.
pub(super) const fn to_n(most: usize) -> Part {
    Part::of(Characters::Digits, 1, most)
}

/// `length` characters of text.
pub(super) const fn x(length: usize) -> Part {
    Part::of(Characters::Text, length, length)
}

/// 1 to `most` characters of text.
pub(super) const fn to_x(most: usize) -> Part {
    Part::of(Characters::Text, 1, most)
}

/// 1 to `most` characters of `characters`.
pub(super) const fn up_to(most: usize, characters: Characters) -> Part {
    Part::of(characters, 1, most)
}

/// An identifier or a run of them that are alike.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Identifier {
    first: &'static str,
    last: &'static str,
    /// Of a length that is known from its first two digits, so that no separator follows.
    pub fixed: bool,
    /// May stand in the query of a Digital Link.
    pub in_query: bool,
    /// The parts of its value.
    pub parts: &'static [Part],
    /// Of each group one has to stand with it: groups of alternatives `01,02`, each one an
    /// identifier, a pattern `31nn` or several joined by `+`.
    pub needs: &'static [&'static str],
    /// What must not stand with it: identifiers and patterns.
    pub excludes: &'static str,
    /// For a primary key of a Digital Link: what may follow in the path, in that order;
    /// alternatives are separated by `|`.
    pub qualifiers: Option<&'static str>,
    /// Its title in the standard.
    pub title: &'static str,
}

impl Identifier {
    pub(super) const fn new(
        first: &'static str,
        last: &'static str,
        parts: &'static [Part],
    ) -> Self {
        Self {
            first,
            last,
            fixed: false,
            in_query: false,
            parts,
            needs: &[],
            excludes: "",
            qualifiers: None,
            title: "",
        }
    }

    pub(super) const fn fixed(mut self) -> Self {
        self.fixed = true;
        self
    }

    pub(super) const fn in_query(mut self) -> Self {
        self.in_query = true;
        self
    }

    pub(super) const fn needs(mut self, groups: &'static [&'static str]) -> Self {
        self.needs = groups;
        self
    }

    pub(super) const fn excludes(mut self, others: &'static str) -> Self {
        self.excludes = others;
        self
    }

    pub(super) const fn key(mut self, qualifiers: &'static str) -> Self {
        self.qualifiers = Some(qualifiers);
        self
    }

    pub(super) const fn title(mut self, title: &'static str) -> Self {
        self.title = title;
        self
    }

    /// Least length of a value.
    pub(super) fn least(&self) -> usize {
        self.parts.iter().filter(|it| !it.optional).map(|it| it.least).sum()
    }

    /// Greatest length of a value.
    pub(super) fn most(&self) -> usize {
        self.parts.iter().map(|it| it.most).sum()
    }

    /// Its length in words.
    pub(super) fn length(&self) -> String {
        let (least, most) = (self.least(), self.most());
        if least == most { format!("{least}") } else { format!("{least} to {most}") }
    }

    fn is(&self, code: &str) -> bool {
        code.len() == self.first.len()
            && self.first <= code
            && code <= self.last
            && code.bytes().all(|it| it.is_ascii_digit())
    }
}

/// The identifier `code`.
pub(super) fn identifier(code: &str) -> Option<&'static Identifier> {
    IDENTIFIERS.iter().find(|it| it.is(code))
}

/// The identifier that `text` starts with; none is the beginning of another one.
pub(super) fn leading(text: &str) -> Option<(&str, &'static Identifier)> {
    (2..=4).find_map(|length| {
        let code = text.get(..length)?;
        Some((code, identifier(code)?))
    })
}

/// Whether `code` is `pattern`, in which `n` stands for any digit.
pub(super) fn matches(pattern: &str, code: &str) -> bool {
    pattern.len() == code.len()
        && pattern.bytes().zip(code.bytes()).all(|(wanted, it)| wanted == b'n' || wanted == it)
}
