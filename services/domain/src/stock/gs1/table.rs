//! The application identifiers.
//!
//! Facts taken from the GS1 Barcode Syntax Dictionary (published under the Apache License 2.0;
//! copyright 2020-2021 BWIPP project and Zint Project, 2021-2025 GS1 AISBL; repository
//! gs1/gs1-syntax-dictionary, commit f7e477f17d48, an unreleased state after the release of
//! 2024-06-10, read on 2026-11-25), written down in our own form: lengths, characters, separators,
//! what must and what must not stand together, and the paths of Digital Links. The last five rows
//! are newer and come from the list that biip 5.2.0 carries (Apache License 2.0), which does not
//! say what stands with them. A test holds lengths and separators of all of them against that
//! list.
//!
//! Of the dictionary's checks of contents these are made here: check digits, dates, the roll
//! products and yes-or-no. Lists of countries, currencies, media and packages, bank account
//! numbers, coupons, times of day and coordinates are taken as they come: no field of ours is
//! read from them.

use super::identifier::{
    Characters::{Base64, PartNumber},
    Check::{Day, LastDigit, MonthOrDay, NotZero, Winding, YesNo, Zero},
    Identifier, Part, n, to_n, to_x, up_to, x,
};

const SSCC: &[Part] = &[n(18).with(LastDigit)];
const GTIN: &[Part] = &[n(14).with(LastDigit)];
const TO_X20: &[Part] = &[to_x(20)];
const MONTH_OR_DAY: &[Part] = &[n(6).with(MonthOrDay)];
const N2: &[Part] = &[n(2)];
const TO_X28: &[Part] = &[to_x(28)];
const TO_X30: &[Part] = &[to_x(30)];
const TO_N6: &[Part] = &[to_n(6)];
const DOCUMENT: &[Part] = &[n(13).with(LastDigit), to_x(17).optional()];
const COUPON: &[Part] = &[n(13).with(LastDigit), to_n(12).optional()];
const TO_N8: &[Part] = &[to_n(8)];
const N6: &[Part] = &[n(6)];
const TO_N15: &[Part] = &[to_n(15)];
const N3_TO_N15: &[Part] = &[n(3), to_n(15)];
const N4: &[Part] = &[n(4)];
const SHIPMENT: &[Part] = &[n(17).with(LastDigit)];
const GLN: &[Part] = &[n(13).with(LastDigit)];
const N3_TO_X9: &[Part] = &[n(3), to_x(9)];
const N3: &[Part] = &[n(3)];
const COUNTRIES: &[Part] =
    &[n(3), n(3).optional(), n(3).optional(), n(3).optional(), n(3).optional()];
const TO_X3: &[Part] = &[to_x(3)];
const TO_X35: &[Part] = &[to_x(35)];
const TO_X70: &[Part] = &[to_x(70)];
const X2: &[Part] = &[x(2)];
const PLACE: &[Part] = &[n(10), n(10)];
const YES_NO: &[Part] = &[n(1).with(YesNo)];
const MONTH_OR_DAY_AND_TIME: &[Part] = &[n(6).with(MonthOrDay), n(4)];
const DAY: &[Part] = &[n(6).with(Day)];
const TEMPERATURE: &[Part] = &[n(6), x(1).optional()];
const N13: &[Part] = &[n(13)];
const DAY_AND_TIME: &[Part] = &[n(6).with(Day), n(4)];
const TO_N4: &[Part] = &[to_n(4)];
const TO_X12: &[Part] = &[to_x(12)];
const DAYS: &[Part] = &[n(6).with(Day), n(6).with(Day).optional()];
const TO_X10: &[Part] = &[to_x(10)];
const TO_X2: &[Part] = &[to_x(2)];
const DAY_OR_TIME: &[Part] = &[n(6).with(Day), n(4).optional()];
const N3_TO_X27: &[Part] = &[n(3), to_x(27)];
const UNIQUE_CODE: &[Part] = &[n(1), x(1), x(1), x(1)];
const TO_X4: &[Part] = &[to_x(4)];
const X2_TO_X28: &[Part] = &[x(2), to_x(28)];
const TO_X25: &[Part] = &[to_x(25)];
const N8: &[Part] = &[n(8)];
const LONG_DAY_AND_TIME: &[Part] = &[n(8), n(4)];
const N1: &[Part] = &[n(1)];
const TO_X40: &[Part] = &[to_x(40)];
const TO_X90: &[Part] = &[to_x(90)];
const X3: &[Part] = &[x(3)];
const ROLL: &[Part] =
    &[n(4).with(NotZero), n(5).with(NotZero), n(3).with(NotZero), n(1).with(Winding), n(1)];
const ASSET: &[Part] = &[n(1).with(Zero), n(13).with(LastDigit), to_x(16).optional()];
const PIECE: &[Part] = &[n(14).with(LastDigit), n(4)];
const TO_X34: &[Part] = &[to_x(34)];
const SECOND: &[Part] = &[n(6).with(Day), n(2), n(2).optional(), n(2).optional()];
const TO_X50: &[Part] = &[to_x(50)];
const TO_Y30: &[Part] = &[up_to(30, PartNumber)];
const TO_N12: &[Part] = &[to_n(12)];
const TO_N10: &[Part] = &[to_n(10)];
const TO_Z90: &[Part] = &[up_to(90, Base64)];
const N15: &[Part] = &[n(15)];
const N32: &[Part] = &[n(32)];
const SIM: &[Part] = &[n(18), to_n(2).optional()];

const GOODS: &str = "01,02,03,8006,8026";
const ITEMS: &str = "01,02,8006,8026";
const TRADE: &str = "01,02";
const UNIT: &str = "00,01";
const MEASURED: &str = "30,31nn,32nn,35nn,36nn";

const fn one(code: &'static str, parts: &'static [Part]) -> Identifier {
    Identifier::new(code, code, parts)
}

const fn run(first: &'static str, last: &'static str, parts: &'static [Part]) -> Identifier {
    Identifier::new(first, last, parts)
}

/// Six digits of which the identifier's last digit says how many are decimals, of a trade item.
const fn trade_measure(
    first: &'static str,
    last: &'static str,
    family: &'static str,
    title: &'static str,
) -> Identifier {
    run(first, last, N6).fixed().in_query().needs(&[TRADE]).excludes(family).title(title)
}

/// The same of a logistic unit.
const fn logistic_measure(
    first: &'static str,
    last: &'static str,
    family: &'static str,
    title: &'static str,
) -> Identifier {
    run(first, last, N6).fixed().in_query().needs(&[UNIT]).excludes(family).title(title)
}

/// Every identifier, none of which begins with another one.
pub(super) static IDENTIFIERS: &[Identifier] = &[
    one("00", SSCC).fixed().in_query().key("").title("SSCC"),
    one("01", GTIN).fixed().in_query().excludes("255,37").key("22,10,21|235").title("GTIN"),
    one("02", GTIN).fixed().in_query().needs(&["37"]).excludes("01,03").title("CONTENT"),
    one("03", GTIN).fixed().excludes("01,02,37").title("MTO GTIN"),
    one("10", TO_X20).in_query().needs(&[GOODS]).title("BATCH/LOT"),
    one("11", MONTH_OR_DAY).fixed().in_query().needs(&[GOODS]).title("PROD DATE"),
    one("12", MONTH_OR_DAY).fixed().in_query().needs(&["8020"]).title("DUE DATE"),
    one("13", MONTH_OR_DAY).fixed().in_query().needs(&[GOODS]).title("PACK DATE"),
    one("15", MONTH_OR_DAY).fixed().in_query().needs(&[GOODS]).title("BEST BEFORE or BEST BY"),
    one("16", MONTH_OR_DAY).fixed().in_query().needs(&[GOODS]).title("SELL BY"),
    one("17", MONTH_OR_DAY)
        .fixed()
        .in_query()
        .needs(&["01,02,03,255,8006,8026"])
        .title("USE BY or EXPIRY"),
    one("20", N2).fixed().in_query().needs(&[ITEMS]).title("VARIANT"),
    one("21", TO_X20).needs(&["01,03,8006"]).excludes("235").title("SERIAL"),
    one("22", TO_X20).needs(&["01"]).title("CPV"),
    one("235", TO_X28).needs(&["01"]).title("TPX"),
    one("240", TO_X30).in_query().needs(&[ITEMS]).title("ADDITIONAL ID"),
    one("241", TO_X30).in_query().needs(&[ITEMS]).title("CUST. PART No."),
    one("242", TO_N6).in_query().needs(&[ITEMS]).title("MTO VARIANT"),
    one("243", TO_X20).in_query().needs(&["01"]).title("PCN"),
    one("250", TO_X30).in_query().needs(&["01,8006", "21"]).title("SECONDARY SERIAL"),
    one("251", TO_X30).in_query().needs(&["01,8006"]).title("REF. TO SOURCE"),
    one("253", DOCUMENT).in_query().key("").title("GDTI"),
    one("254", TO_X20).needs(&["414"]).title("GLN EXTENSION COMPONENT"),
    one("255", COUPON).in_query().excludes("01,02,415,8006,8020,8026").key("").title("GCN"),
    one("30", TO_N8).in_query().needs(&[TRADE]).title("VAR. COUNT"),
    trade_measure("3100", "3105", "310n", "NET WEIGHT (kg)"),
    trade_measure("3110", "3115", "311n", "LENGTH (m)"),
    trade_measure("3120", "3125", "312n", "WIDTH (m)"),
    trade_measure("3130", "3135", "313n", "HEIGHT (m)"),
    trade_measure("3140", "3145", "314n", "AREA (m²)"),
    trade_measure("3150", "3155", "315n", "NET VOLUME (l)"),
    trade_measure("3160", "3165", "316n", "NET VOLUME (m³)"),
    trade_measure("3200", "3205", "320n", "NET WEIGHT (lb)"),
    trade_measure("3210", "3215", "321n", "LENGTH (in)"),
    trade_measure("3220", "3225", "322n", "LENGTH (ft)"),
    trade_measure("3230", "3235", "323n", "LENGTH (yd)"),
    trade_measure("3240", "3245", "324n", "WIDTH (in)"),
    trade_measure("3250", "3255", "325n", "WIDTH (ft)"),
    trade_measure("3260", "3265", "326n", "WIDTH (yd)"),
    trade_measure("3270", "3275", "327n", "HEIGHT (in)"),
    trade_measure("3280", "3285", "328n", "HEIGHT (ft)"),
    trade_measure("3290", "3295", "329n", "HEIGHT (yd)"),
    logistic_measure("3300", "3305", "330n", "GROSS WEIGHT (kg)"),
    logistic_measure("3310", "3315", "331n", "LENGTH (m), log"),
    logistic_measure("3320", "3325", "332n", "WIDTH (m), log"),
    logistic_measure("3330", "3335", "333n", "HEIGHT (m), log"),
    logistic_measure("3340", "3345", "334n", "AREA (m²), log"),
    logistic_measure("3350", "3355", "335n", "VOLUME (l), log"),
    logistic_measure("3360", "3365", "336n", "VOLUME (m³), log"),
    run("3370", "3375", N6).fixed().in_query().needs(&["01"]).excludes("337n").title("KG PER m²"),
    logistic_measure("3400", "3405", "340n", "GROSS WEIGHT (lb)"),
    logistic_measure("3410", "3415", "341n", "LENGTH (in), log"),
    logistic_measure("3420", "3425", "342n", "LENGTH (ft), log"),
    logistic_measure("3430", "3435", "343n", "LENGTH (yd), log"),
    logistic_measure("3440", "3445", "344n", "WIDTH (in), log"),
    logistic_measure("3450", "3455", "345n", "WIDTH (ft), log"),
    logistic_measure("3460", "3465", "346n", "WIDTH (yd), log"),
    logistic_measure("3470", "3475", "347n", "HEIGHT (in), log"),
    logistic_measure("3480", "3485", "348n", "HEIGHT (ft), log"),
    logistic_measure("3490", "3495", "349n", "HEIGHT (yd), log"),
    trade_measure("3500", "3505", "350n", "AREA (in²)"),
    trade_measure("3510", "3515", "351n", "AREA (ft²)"),
    trade_measure("3520", "3525", "352n", "AREA (yd²)"),
    logistic_measure("3530", "3535", "353n", "AREA (in²), log"),
    logistic_measure("3540", "3545", "354n", "AREA (ft²), log"),
    logistic_measure("3550", "3555", "355n", "AREA (yd²), log"),
    trade_measure("3560", "3565", "356n", "NET WEIGHT (t oz)"),
    trade_measure("3570", "3575", "357n", "NET VOLUME (oz)"),
    trade_measure("3600", "3605", "360n", "NET VOLUME (qt)"),
    trade_measure("3610", "3615", "361n", "NET VOLUME (gal.)"),
    logistic_measure("3620", "3625", "362n", "VOLUME (qt), log"),
    logistic_measure("3630", "3635", "363n", "VOLUME (gal.), log"),
    trade_measure("3640", "3645", "364n", "VOLUME (in³)"),
    trade_measure("3650", "3655", "365n", "VOLUME (ft³)"),
    trade_measure("3660", "3665", "366n", "VOLUME (yd³)"),
    logistic_measure("3670", "3675", "367n", "VOLUME (in³), log"),
    logistic_measure("3680", "3685", "368n", "VOLUME (ft³), log"),
    logistic_measure("3690", "3695", "369n", "VOLUME (yd³), log"),
    one("37", TO_N8).in_query().needs(&["00", "02,8026"]).title("COUNT"),
    run("3900", "3909", TO_N15)
        .in_query()
        .needs(&["255,8020"])
        .excludes("390n,391n,394n,8111")
        .title("AMOUNT"),
    run("3910", "3919", N3_TO_N15).in_query().needs(&["8020"]).excludes("391n").title("AMOUNT"),
    run("3920", "3929", TO_N15)
        .in_query()
        .needs(&["01", MEASURED])
        .excludes("392n,393n")
        .title("PRICE"),
    run("3930", "3939", N3_TO_N15).in_query().needs(&[MEASURED]).excludes("393n").title("PRICE"),
    run("3940", "3943", N4).in_query().needs(&["255"]).excludes("394n,8111").title("PRCNT OFF"),
    run("3950", "3955", N6)
        .in_query()
        .needs(&[MEASURED])
        .excludes("392n,393n,395n,8005")
        .title("PRICE/UoM"),
    one("400", TO_X30).in_query().title("ORDER NUMBER"),
    one("401", TO_X30).in_query().key("").title("GINC"),
    one("402", SHIPMENT).in_query().key("").title("GSIN"),
    one("403", TO_X30).in_query().needs(&["00"]).title("ROUTE"),
    one("410", GLN).fixed().in_query().title("SHIP TO LOC"),
    one("411", GLN).fixed().in_query().title("BILL TO"),
    one("412", GLN).fixed().in_query().title("PURCHASE FROM"),
    one("413", GLN).fixed().in_query().title("SHIP FOR LOC"),
    one("414", GLN).fixed().in_query().key("254|7040").title("LOC No."),
    one("415", GLN).fixed().in_query().needs(&["8020"]).key("8020").title("PAY TO"),
    one("416", GLN).fixed().in_query().title("PROD/SERV LOC"),
    one("417", GLN).fixed().in_query().key("7040").title("PARTY"),
    one("420", TO_X20).in_query().excludes("421").title("SHIP TO POST"),
    one("421", N3_TO_X9).in_query().excludes("4307").title("SHIP TO POST"),
    one("422", N3).in_query().needs(&[ITEMS]).excludes("426").title("ORIGIN"),
    one("423", COUNTRIES)
        .in_query()
        .needs(&[TRADE])
        .excludes("426")
        .title("COUNTRY - INITIAL PROCESS"),
    one("424", N3).in_query().needs(&[TRADE]).excludes("426").title("COUNTRY - PROCESS"),
    one("425", COUNTRIES).in_query().needs(&[TRADE]).excludes("426").title("COUNTRY - DISASSEMBLY"),
    one("426", N3).in_query().needs(&[TRADE]).title("COUNTRY - FULL PROCESS"),
    one("427", TO_X3).in_query().needs(&[TRADE, "422"]).title("ORIGIN SUBDIVISION"),
    one("4300", TO_X35).in_query().needs(&["00"]).title("SHIP TO COMP"),
    one("4301", TO_X35).in_query().needs(&["00"]).title("SHIP TO NAME"),
    one("4302", TO_X70).in_query().needs(&["00"]).title("SHIP TO ADD1"),
    one("4303", TO_X70).in_query().needs(&["4302"]).title("SHIP TO ADD2"),
    one("4304", TO_X70).in_query().needs(&["00"]).title("SHIP TO SUB"),
    one("4305", TO_X70).in_query().needs(&["00"]).title("SHIP TO LOC"),
    one("4306", TO_X70).in_query().needs(&["00"]).title("SHIP TO REG"),
    one("4307", X2).in_query().needs(&["00"]).title("SHIP TO COUNTRY"),
    one("4308", TO_X30).in_query().needs(&["00"]).title("SHIP TO PHONE"),
    one("4309", PLACE).in_query().needs(&["00"]).title("SHIP TO GEO"),
    one("4310", TO_X35).in_query().needs(&["00"]).title("RTN TO COMP"),
    one("4311", TO_X35).in_query().needs(&["00"]).title("RTN TO NAME"),
    one("4312", TO_X70).in_query().needs(&["00"]).title("RTN TO ADD1"),
    one("4313", TO_X70).in_query().needs(&["4312"]).title("RTN TO ADD2"),
    one("4314", TO_X70).in_query().needs(&["00"]).title("RTN TO SUB"),
    one("4315", TO_X70).in_query().needs(&["00"]).title("RTN TO LOC"),
    one("4316", TO_X70).in_query().needs(&["00"]).title("RTN TO REG"),
    one("4317", X2).in_query().needs(&["00"]).title("RTN TO COUNTRY"),
    one("4318", TO_X20).in_query().needs(&["00"]).title("RTN TO POST"),
    one("4319", TO_X30).in_query().needs(&["00"]).title("RTN TO PHONE"),
    one("4320", TO_X35).in_query().needs(&["00"]).title("SRV DESCRIPTION"),
    one("4321", YES_NO).in_query().needs(&["00"]).title("DANGEROUS GOODS"),
    one("4322", YES_NO).in_query().needs(&["00"]).title("AUTH TO LEAVE"),
    one("4323", YES_NO).in_query().needs(&["00"]).title("SIG REQUIRED"),
    one("4324", MONTH_OR_DAY_AND_TIME).in_query().needs(&["00"]).title("NOT BEF DEL DT"),
    one("4325", MONTH_OR_DAY_AND_TIME).in_query().needs(&["00"]).title("NOT AFT DEL DT"),
    one("4326", DAY).in_query().needs(&["00"]).title("REL DATE"),
    one("4330", TEMPERATURE).in_query().needs(&["00"]).excludes("4331").title("MAX TEMP F."),
    one("4331", TEMPERATURE).in_query().needs(&["00"]).excludes("4330").title("MAX TEMP C."),
    one("4332", TEMPERATURE).in_query().needs(&["00"]).excludes("4333").title("MIN TEMP F."),
    one("4333", TEMPERATURE).in_query().needs(&["00"]).excludes("4332").title("MIN TEMP C."),
    one("7001", N13).in_query().needs(&[ITEMS]).title("NSN"),
    one("7002", TO_X30).in_query().needs(&[TRADE]).title("MEAT CUT"),
    one("7003", DAY_AND_TIME).in_query().needs(&[TRADE]).title("EXPIRY TIME"),
    one("7004", TO_N4).in_query().needs(&["01", "10"]).title("ACTIVE POTENCY"),
    one("7005", TO_X12).in_query().needs(&[TRADE]).title("CATCH AREA"),
    one("7006", DAY).in_query().needs(&[TRADE]).title("FIRST FREEZE DATE"),
    one("7007", DAYS).in_query().needs(&[TRADE]).title("HARVEST DATE"),
    one("7008", TO_X3).in_query().needs(&[TRADE]).title("AQUATIC SPECIES"),
    one("7009", TO_X10).in_query().needs(&[TRADE]).title("FISHING GEAR TYPE"),
    one("7010", TO_X2).in_query().needs(&[TRADE]).title("PROD METHOD"),
    one("7011", DAY_OR_TIME).in_query().needs(&[TRADE]).title("TEST BY DATE"),
    one("7020", TO_X20).in_query().needs(&["01,8006", "416"]).title("REFURB LOT"),
    one("7021", TO_X20).in_query().needs(&["01,8006"]).title("FUNC STAT"),
    one("7022", TO_X20).in_query().needs(&["7021"]).title("REV STAT"),
    one("7023", TO_X30).in_query().title("GIAI - ASSEMBLY"),
    run("7030", "7039", N3_TO_X27).in_query().needs(&[TRADE]).title("PROCESSOR"),
    one("7040", UNIQUE_CODE).title("UIC+EXT"),
    one("7041", TO_X4).in_query().needs(&["00"]).title("UFRGT UNIT TYPE"),
    one("710", TO_X20).in_query().needs(&["01"]).title("NHRN PZN"),
    one("711", TO_X20).in_query().needs(&["01"]).title("NHRN CIP"),
    one("712", TO_X20).in_query().needs(&["01"]).title("NHRN CN"),
    one("713", TO_X20).in_query().needs(&["01"]).title("NHRN DRN"),
    one("714", TO_X20).in_query().needs(&["01"]).title("NHRN AIM"),
    one("715", TO_X20).in_query().needs(&["01"]).title("NHRN NDC"),
    one("716", TO_X20).in_query().needs(&["01"]).title("NHRN AIC"),
    run("7230", "7239", X2_TO_X28).in_query().needs(&["01,8004"]).title("CERT"),
    one("7240", TO_X20).in_query().needs(&["01,8006"]).title("PROTOCOL"),
    one("7241", N2).in_query().needs(&["8017,8018"]).title("AIDC MEDIA TYPE"),
    one("7242", TO_X25).in_query().needs(&["8017,8018"]).title("VCN"),
    one("7250", N8).in_query().needs(&["8018"]).excludes("7251").title("DOB"),
    one("7251", LONG_DAY_AND_TIME).in_query().needs(&["8018"]).excludes("7250").title("DOB TIME"),
    one("7252", N1).in_query().needs(&["8018"]).title("BIO SEX"),
    one("7253", TO_X40).in_query().needs(&["8017,8018"]).excludes("7256,7259").title("FAMILY NAME"),
    one("7254", TO_X40).in_query().needs(&["8017,8018"]).excludes("7256,7259").title("GIVEN NAME"),
    one("7255", TO_X10).in_query().needs(&["8017,8018"]).excludes("7256,7259").title("SUFFIX"),
    one("7256", TO_X90).in_query().needs(&["8017,8018"]).title("FULL NAME"),
    one("7257", TO_X70).in_query().needs(&["8018"]).title("PERSON ADDR"),
    one("7258", X3).in_query().needs(&["8018+7259"]).title("BIRTH SEQUENCE"),
    one("7259", TO_X40).in_query().needs(&["8018"]).excludes("7256").title("BABY"),
    one("8001", ROLL).in_query().needs(&["01"]).title("DIMENSIONS"),
    one("8002", TO_X20).in_query().title("CMT No."),
    one("8003", ASSET).in_query().key("").title("GRAI"),
    one("8004", TO_X30).in_query().key("7040").title("GIAI"),
    one("8005", N6).in_query().needs(&[TRADE]).title("PRICE PER UNIT"),
    one("8006", PIECE).in_query().excludes("01,37").key("22,10,21").title("ITIP"),
    one("8007", TO_X34).in_query().needs(&["415"]).title("IBAN"),
    one("8008", SECOND).in_query().needs(&[TRADE]).title("PROD TIME"),
    one("8009", TO_X50).in_query().needs(&[UNIT]).title("OPTSEN"),
    one("8010", TO_Y30).in_query().key("8011").title("CPID"),
    one("8011", TO_N12).needs(&["8010"]).title("CPID SERIAL"),
    one("8012", TO_X20).in_query().needs(&["01,8006"]).title("VERSION"),
    one("8013", TO_X25).in_query().key("").title("GMN"),
    one("8014", TO_X25).needs(&["01"]).title("MUDI"),
    one("8017", SSCC).in_query().excludes("8018").key("8019").title("GSRN - PROVIDER"),
    one("8018", SSCC).in_query().excludes("8017").key("8019").title("GSRN - RECIPIENT"),
    one("8019", TO_N10).needs(&["8017,8018"]).title("SRIN"),
    one("8020", TO_X25).needs(&["415"]).title("REF No."),
    one("8026", PIECE).in_query().needs(&["37"]).excludes("02,8006").title("ITIP CONTENT"),
    one("8030", TO_Z90)
        .in_query()
        .needs(&["00,01+21,253,255,8003,8004,8006+21,8010+8011,8017,8018"])
        .title("DIGSIG"),
    one("8110", TO_X70).in_query().title("COUPON"),
    one("8111", N4).in_query().needs(&["255"]).title("POINTS"),
    one("8112", TO_X70).in_query().title("COUPON OFFER"),
    one("8200", TO_X70).needs(&["01"]).title("PRODUCT URL"),
    one("90", TO_X30).in_query().title("INTERNAL"),
    run("91", "99", TO_X90).in_query().title("INTERNAL"),
    // From here on: biip 5.2.0.
    one("717", TO_X20).needs(&["01"]).title("NHRN SRN"),
    one("8040", N15).title("IMEI"),
    one("8041", N15).title("IMEI2"),
    one("8042", N32).title("ESIM"),
    one("8043", SIM).title("PSIM"),
];
