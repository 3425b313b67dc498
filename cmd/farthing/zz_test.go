package main
import ("testing";"fmt";"path/filepath";"math")
func TestZZ(t *testing.T){
	dir := filepath.Join(t.TempDir(), "demo")
	call(t, []int{exitDone}, "init", dir, "--with", "demo")
	call(t, []int{exitQuarantined}, "run", "--quiet","--workspace", dir)
	o:=newOpinion(t,dir)
	for _, where := range []struct{r,m,prev string; outs []string}{{"high-tansel","2023-02","",[]string{"ummer-barn","fennow-shelf","hask-store"}},{"high-tansel","2023-07","",[]string{"ummer-barn","fennow-shelf","hask-store"}},{"mirrow-bay","2023-03","",[]string{"vellick-hall","dorrow-saver","quell-corner","brask-market"}},{"mirrow-bay","2024-02","",[]string{"vellick-hall","dorrow-saver","quell-corner","brask-market"}}} {
		m:=parseMonth(t,where.m)
		c:=o.basket(t,where.r,"staples",1,m)["per_day_lcu"].(float64)
		// variant A full recompute; B drop lines' imputed fixed
		var a,b []float64
		for _, k := range where.outs {
			p:=o.without(k)
			a=append(a, math.Log(p.basket(t,where.r,"staples",1,m)["per_day_lcu"].(float64)))
			sum:=0.0
			for _, l := range o.lines(t,"staples") {
				cl:=cell{where.r,l.good,m}
				x:=p.observed(cl)
				if missing(x) { pr,_:=o.price(t,cl); x=math.Log(pr) }
				sum+=l.aDay*math.Exp(x)
			}
			b=append(b,math.Log(sum))
		}
		se:=func(v []float64) float64 { mu:=mean(v); ss:=0.0; for _,x:=range v {ss+=(x-mu)*(x-mu)}; n:=float64(len(v)); return math.Sqrt((n-1)/n*ss)}
		tq:=map[int]float64{3:4.302652729911275,4:3.182446305284263}[len(where.outs)]
		for _, v := range [][]float64{a,b} {
			fmt.Println(where.r,where.m,c,c*math.Exp(-tq*se(v)),c*math.Exp(tq*se(v)))
		}
		for _, row := range readCells(t, filepath.Join(dir,"site/data/basket.csv")) { if row["region"]==where.r && row["month"]==where.m && row["household"]=="single" { fmt.Println(row["per_day_lcu"],row["lo_lcu"],row["hi_lcu"]) } }
	}
}
