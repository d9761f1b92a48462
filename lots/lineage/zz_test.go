package lineage_test
import ("testing";"fmt";"heeltap/lots";"heeltap/lots/lineage";"heeltap/lots/lineage/histories";"heeltap/lots/lineage/oracle";"pgregory.net/rapid")
func TestZZ(t *testing.T){
 n,ref:=0,0; causes:=map[string]int{}; finds:=map[string]int{}; kinds:=map[string]int{}
 g:=rapid.Custom(func(t *rapid.T)[]histories.Row{return histories.DrawSize(t, rapid.SampledFrom(sizes()).Draw(t,"size"))})
 for i:=range 2000 { rows:=g.Example(i); l,_:=lots.NewLedger(histories.Entered(rows)); o,err:=oracle.Derive(l,lineage.DefaultLimits()); n++; if err!=nil{ref++;causes[err.Error()]++;continue}
 s:=map[string]bool{}; for k:=range o.Links{s[k.Cause.String()+" "+k.Grade.String()]=true}; for k:=range s{causes[k]++}
 s=map[string]bool{}; for f:=range o.Findings{s[f.Name]=true}; for k:=range s{finds[k]++}
 s=map[string]bool{}; for f:=range o.Nodes{s[f.Kind.String()]=true}; for k:=range s{kinds[k]++}
 }
 fmt.Println(n,ref,causes,finds,kinds)
}
